"""Where in a recording somebody speaks, and how the speech is packed into windows that a recogniser takes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.decode import RATE, blocks
from pipeline.shape import balanced

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

FRAME = 512
"""Samples a voice probability stands for: 32 ms."""
FRAME_S = FRAME / RATE
BATCH_S = 120.0
WARM_UP_S = 2.0

# Measured: with these no sentence was lost down to 5 dB, while pauses and machine noise fall away.
SPEAKS = 0.25
SILENT = 0.10
LONGEST_PAUSE_S = 2.0
PAD_S = 0.6

WINDOW_S = 28.0
"""The recogniser sees 30 s at a time; the rest is room for the pause at the end."""
EARLIEST_CUT_S = 12.0
SHORTEST_PAUSE_S = 0.16

QUIET = 0.05
LOUD_ENOUGH = 0.25
MOST_GAIN = 200.0
SILENCE = 3e-5
"""Peak below which a batch holds nothing that a 16-bit recorder could have written on purpose."""


@dataclass(frozen=True)
class Soundings:
    """What one pass over a recording found, without keeping the sound. Voice probabilities are one a frame."""

    heard_s: float
    peak: float
    clipped: float
    """Share of the samples that stand at full scale."""
    gain: float
    voice: NDArray[np.float32]


@dataclass(frozen=True)
class Window:
    """Stretches of the recording (start, end in samples) that are heard as one, in order."""

    spans: tuple[tuple[int, int], ...]

    @property
    def speech_until_s(self) -> float:
        """Seconds from the window's start after which nobody speaks in it; every stretch ends with its pad."""
        return self.length_s - PAD_S

    @property
    def length_s(self) -> float:
        """Seconds of sound in it."""
        return sum(end - start for start, end in self.spans) / RATE

    def when(self, at_s: float) -> tuple[float, float, float]:
        """For a time in the window: the time in the recording, and the bounds of its stretch there; seconds."""
        past = 0.0
        for start, end in self.spans:
            length = (end - start) / RATE
            if at_s < past + length or (start, end) == self.spans[-1]:
                return start / RATE + min(at_s - past, length), start / RATE, end / RATE
            past += length
        raise ValueError("a window without stretches")


def sound_out(path: Path, progress: Callable[[float], None] | None = None) -> Soundings:
    """Reads the recording once for its length, its level and where somebody speaks.

    `progress` is told the seconds read so far. Raises InputError when the file is no readable sound.
    """
    import numpy as np

    voice: list[NDArray[np.float32]] = []
    levels: list[float] = []
    total = clipped = 0
    peak = 0.0
    batch: list[Samples] = []
    tail = np.zeros(0, dtype="float32")
    held = 0

    def finish() -> None:
        nonlocal tail, held
        joined = np.concatenate(batch)
        voice.append(_probabilities(tail, joined))
        tail = joined[-int(WARM_UP_S * RATE) :]
        batch.clear()
        held = 0

    for block in blocks(path):
        size = np.abs(block)
        peak = max(peak, float(size.max()))
        clipped += int((size >= 0.985).sum())
        levels.append(float(np.quantile(size, 0.98)))
        total += len(block)
        batch.append(block)
        held += len(block)
        # A batch is a whole number of frames, so that probabilities stay in step with the samples.
        if held >= BATCH_S * RATE and held % FRAME == 0:
            finish()
            if progress:
                progress(total / RATE)
    if batch:
        finish()
    loud = float(np.quantile(levels, 0.9)) if levels else 0.0
    return Soundings(
        heard_s=total / RATE,
        peak=peak,
        clipped=clipped / total if total else 0.0,
        gain=1.0 if loud >= QUIET or loud == 0.0 else min(MOST_GAIN, LOUD_ENOUGH / loud, 1.0 / max(peak, 1e-9)),
        voice=np.concatenate(voice) if voice else np.zeros(0, dtype="float32"),
    )


def _probabilities(before: Samples, samples: Samples) -> NDArray[np.float32]:
    """One probability of speech a frame. `before` warms the model up, whose memory starts empty."""
    import numpy as np
    from faster_whisper.vad import get_vad_model

    frames = -(-len(samples) // FRAME)
    peak = float(np.abs(samples).max())
    if peak < SILENCE:
        return np.zeros(frames, dtype="float32")
    lead = before[len(before) % FRAME :]
    joined = np.concatenate([lead, samples, np.zeros(frames * FRAME - len(samples), dtype="float32")])
    level = float(np.quantile(np.abs(joined), 0.98))
    if level < QUIET:
        joined = joined * min(MOST_GAIN, LOUD_ENOUGH / max(level, 1e-9), 1.0 / peak)
    said = get_vad_model()(joined.astype("float32")).reshape(-1)
    return np.asarray(said[len(lead) // FRAME :], dtype="float32")


def speech(voice: NDArray[np.float32], total: int) -> list[tuple[int, int]]:
    """Stretches with speech, padded, as (start, end) in samples; pauses up to two seconds stay inside."""
    found: list[tuple[int, int]] = []
    start: int | None = None
    quiet_since: int | None = None
    for frame, probability in enumerate(voice):
        if probability >= SPEAKS:
            quiet_since = None
            if start is None:
                start = frame
        elif probability < SILENT and start is not None:
            if quiet_since is None:
                quiet_since = frame
            if (frame - quiet_since) * FRAME_S >= LONGEST_PAUSE_S:
                found.append((start, quiet_since))
                start = quiet_since = None
    if start is not None:
        found.append((start, quiet_since if quiet_since is not None else len(voice)))
    pad = int(PAD_S * RATE)
    # Pauses between stretches are longer than both pads together, so padded stretches never meet.
    return [(max(0, first * FRAME - pad), min(total, last * FRAME + pad)) for first, last in found]


def sure_speech(voice: NDArray[np.float32], sure: float) -> list[tuple[float, float]]:
    """Stretches, in seconds, where the voice probability stays above `sure` but for moments below a third of one."""
    found: list[tuple[float, float]] = []
    for frame in (voice >= sure).nonzero()[0]:
        at_s = float(frame) * FRAME_S
        if found and at_s - found[-1][1] < 0.3:
            found[-1] = (found[-1][0], at_s + FRAME_S)
        else:
            found.append((at_s, at_s + FRAME_S))
    return [(round(start, 2), round(end, 2)) for start, end in found]


def windows(voice: NDArray[np.float32], total: int) -> list[Window]:
    """Packs the speech into windows of at most 28 s, each cut in a pause where there is one."""
    packed: list[Window] = []
    spans: list[tuple[int, int]] = []
    room = int(WINDOW_S * RATE)
    for begin, end in speech(voice, total):
        start = begin
        while end - start > room:
            cut = _best_cut(voice, start, room, int(WINDOW_S * RATE))
            if cut is None:
                # Nothing of this stretch ends in a pause within what is left: it opens a window of its own.
                packed.append(Window(tuple(spans)))
            else:
                packed.append(Window((*spans, (start, cut))))
                start = cut
            spans, room = [], int(WINDOW_S * RATE)
        spans.append((start, end))
        room -= end - start
        if room < RATE:
            packed.append(Window(tuple(spans)))
            spans, room = [], int(WINDOW_S * RATE)
    if spans:
        packed.append(Window(tuple(spans)))
    return packed


def _best_cut(voice: NDArray[np.float32], start: int, room: int, whole: int) -> int | None:
    """Where to cut a stretch that does not fit: the middle of a long, late pause; None to open a new window."""
    used = whole - room
    first = (start + max(RATE, int(EARLIEST_CUT_S * RATE) - used)) // FRAME
    last = (start + room) // FRAME
    best: tuple[float, int] | None = None
    for pause_start, pause_end in _pauses(voice, first, last):
        length_s = (pause_end - pause_start) * FRAME_S
        if length_s < SHORTEST_PAUSE_S:
            continue
        middle = (pause_start + pause_end) // 2
        # A pause of a second is as good as a window that is ten seconds fuller.
        worth = min(length_s, 1.0) + 0.1 * (middle - first) * FRAME_S
        if best is None or worth > best[0]:
            best = (worth, middle * FRAME)
    if best is not None:
        return best[1]
    if used:
        return None
    quietest = min(range((first + last) // 2, last), key=lambda frame: (float(voice[frame]), -frame))
    return quietest * FRAME


def _pauses(voice: NDArray[np.float32], first: int, last: int) -> Iterator[tuple[int, int]]:
    start: int | None = None
    for frame in range(first, min(last, len(voice))):
        if voice[frame] < SPEAKS:
            start = frame if start is None else start
        elif start is not None:
            yield start, frame
            start = None
    if start is not None:
        yield start, min(last, len(voice))


class SoundReader:
    """Gives the samples of one window after another from one pass over the file; memory stays flat."""

    def __init__(self, path: Path, gain: float = 1.0) -> None:
        """Takes the file and what its samples are multiplied with."""
        self._blocks = blocks(path)
        self._gain = gain
        self._held: Samples | None = None
        self._from = 0

    def read(self, window: Window) -> Samples:
        """The window's sound as one array, its spectrum balanced. Windows must be asked for in order of time."""
        import numpy as np

        parts = [self._span(start, end) for start, end in window.spans]
        return balanced(np.clip(np.concatenate(parts) * self._gain, -1.0, 1.0))

    def _span(self, start: int, end: int) -> Samples:
        import numpy as np

        held = self._held if self._held is not None else np.zeros(0, dtype="float32")
        while self._from + len(held) < end:
            block = next(self._blocks, None)
            if block is None:
                break
            past = min(max(start - self._from, 0), len(held))
            held, self._from = held[past:], self._from + past
            held = np.concatenate([held, block])
        past = min(max(start - self._from, 0), len(held))
        held, self._from = held[past:], self._from + past
        self._held = held
        return held[: end - self._from]
