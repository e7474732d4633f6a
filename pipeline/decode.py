"""Sound files of any container, read in blocks of 16 kHz mono samples with memory that does not grow."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

RATE = 16_000
BLOCK_S = 10.0
LONGEST_S = 12 * 3600.0
"""More than any working day; beyond it a file is taken for a crafted one, a few bytes of which can state years."""
LONGEST_HOLE_S = 3600.0
"""A jump of the time stamps beyond this is taken for a faulty stamp, not for a pause of the recorder."""

CONTAINERS = "aac,ac3,aiff,amr,amrnb,amrwb,asf,avi,caf,eac3,flac,matroska,mov,mp3,mpegts,ogg,w64,wav"
"""What a recording may be, by FFmpeg's names. Left to itself it also reads lists that name other files and hosts."""


@dataclass(frozen=True)
class SoundFile:
    """What a sound file says of itself. `declared_s` is null when its header gives no length."""

    declared_s: float | None
    recorded_at: str | None
    """The container's or the sound track's `creation_time`, as it stands there; null when there is none."""


def _unreadable(path: Path, why: str) -> InputError:
    return InputError(
        "unreadable-audio",
        f"{path.name} cannot be read as a recording: {why}.",
        "Play it in another program; if it plays, save it as WAV or M4A and give that file.",
    )


def _open(path: Path) -> Any:
    import av

    try:
        if path.stat().st_size == 0:
            raise InputError(
                "empty-audio", f"{path.name} is empty (0 bytes).", "Copy it from the phone or recorder again."
            )
        only = {"format_whitelist": CONTAINERS, "protocol_whitelist": "file"}
        return av.open(str(path), metadata_errors="ignore", options=only)
    except (av.error.FFmpegError, ValueError) as fault:
        if isinstance(fault, PermissionError):
            raise _no_rights(path) from fault
        raise _unreadable(
            path, "it is not a sound file that is known here, or its end with the index is missing"
        ) from fault
    except PermissionError as fault:
        raise _no_rights(path) from fault


def _no_rights(path: Path) -> InputError:
    return InputError("unreadable-audio", f"{path.name} may not be read by this user.", "Change the file's rights.")


def _sound_track(container: Any, path: Path) -> Any:
    if not container.streams.audio:
        raise InputError("no-sound-track", f"{path.name} has no sound track.", "Give a recording with sound in it.")
    return container.streams.audio[0]


def probe(path: Path) -> SoundFile:
    """Length and time of recording as the file states them.

    Raises InputError when it is empty, unreadable, not sound, or a video without sound.
    """
    with _open(path) as container:
        track = _sound_track(container, path)
        declared = None
        if track.duration and track.time_base:
            declared = float(track.duration * track.time_base)
        elif container.duration:
            declared = container.duration / 1_000_000
        said = container.metadata.get("creation_time") or track.metadata.get("creation_time")
        return SoundFile(declared_s=declared if declared and declared > 0 else None, recorded_at=said)


def blocks(path: Path) -> Iterator[Samples]:
    """The file's sound as float32 mono blocks of ten seconds (the last one shorter), at 16 kHz.

    Damaged frames are left out and the place they took is kept silent, so that times stay those of a player.
    Constant offset is taken away. Raises InputError as `probe` does.
    """
    import numpy as np

    size = int(BLOCK_S * RATE)
    pending: list[Samples] = []
    held, all_s = 0, 0.0
    for part in _parts(path):
        all_s += len(part) / RATE
        if all_s > LONGEST_S:
            raise InputError(
                "too-long", f"{path.name} is longer than {LONGEST_S / 3600:.0f} hours.", "Cut it into shorter parts."
            )
        pending.append(part)
        held += len(part)
        if held < size:
            continue
        joined = np.concatenate(pending)
        while len(joined) >= size:
            yield _centred(joined[:size])
            joined = joined[size:]
        pending, held = [joined], len(joined)
    if held:
        yield _centred(np.concatenate(pending))


def _centred(samples: Samples) -> Samples:
    import numpy as np

    return np.asarray(samples - samples.mean(dtype="float64"), dtype="float32")


def _parts(path: Path) -> Iterator[Samples]:
    """Decoded, resampled and mixed stretches of sound, holes of the time stamps filled with silence."""
    import av
    import numpy as np

    with _open(path) as container:
        track = _sound_track(container, path)
        origin = container.start_time / 1_000_000 if container.start_time else 0.0
        resampler = None
        shape = None
        written = 0
        for frame in _frames(container, track):
            now = (frame.sample_rate, frame.layout.name, frame.format.name)
            if now != shape:
                # A phone may switch rate or channels in mid-file; the old resampler gives up what it holds.
                if resampler is not None:
                    for late in resampler.resample(None):
                        written += late.samples
                        yield _mixed(late)
                resampler = av.AudioResampler(format="fltp", layout=frame.layout.name, rate=RATE)
                shape = now
            if frame.pts is not None and frame.time_base is not None:
                hole = float(frame.pts * frame.time_base) - origin - written / RATE
                # Codecs shift stamps by their own delay, below a fifth of a second.
                if 0.2 < hole < LONGEST_HOLE_S:
                    for late in resampler.resample(None) if resampler is not None else ():
                        written += late.samples
                        yield _mixed(late)
                    resampler = av.AudioResampler(format="fltp", layout=frame.layout.name, rate=RATE)
                    missing = round(hole * RATE)
                    written += missing
                    while missing > 0:
                        yield np.zeros(min(missing, RATE), dtype="float32")
                        missing -= RATE
            frame.pts = None
            for ready in resampler.resample(frame) if resampler is not None else ():
                written += ready.samples
                yield _mixed(ready)
        if resampler is not None:
            for late in resampler.resample(None):
                yield _mixed(late)


def _frames(container: Any, track: Any) -> Iterator[Any]:
    """Every frame that can be decoded; what is damaged or cut off is passed over."""
    import av

    packets = container.demux(track)
    while True:
        try:
            packet = next(packets)
        except StopIteration:
            return
        except av.error.FFmpegError:
            # The container breaks off here. What was read is good; the caller sees the missing length.
            return
        with contextlib.suppress(av.error.FFmpegError):
            yield from packet.decode()


def _mixed(frame: Any) -> Samples:
    """One channel from however many; two that cancel each other out give the first."""
    import numpy as np

    channels = frame.to_ndarray()
    mixed = channels.mean(axis=0)
    if len(channels) > 1:
        loudest = float(np.square(channels).mean(axis=1).max())
        # A microphone wired with its poles swapped leaves less than a thousandth of the power in the sum.
        if float(np.square(mixed).mean()) < 1e-3 * loudest:
            mixed = channels[int(np.square(channels).mean(axis=1).argmax())]
    return np.asarray(mixed, dtype="float32")
