"""What hearing costs against a bare run of the same model, in processor time of one run, and how memory grows.

    python -m tests.benchmarks.hearing_cost RECORDING            the ratios
    python -m tests.benchmarks.hearing_cost --memory MINUTES     peak memory of a recording of that length
    python -m tests.benchmarks.hearing_cost --memory MINUTES --stand-in     the same without a speech model

Processor time and not the clock is compared, so that other work on the machine does not decide.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline.hear import HearSettings, hear
from pipeline.ingest import survey
from pipeline.keep import Keep
from pipeline.speech_models import find_model

THREADS = 2


def measured(name: str, work: Callable[[], Any], against: float | None = None) -> float:
    """Runs the work once, prints what it took, gives the processor seconds."""
    began, clock = time.process_time(), time.monotonic()
    work()
    spent = time.process_time() - began
    ratio = f", ratio {spent / against:.2f}" if against else ""
    print(f"{name:32} {spent:7.1f} s of processor, {time.monotonic() - clock:7.1f} s on the clock{ratio}", flush=True)
    return spent


def bare(recording: Path) -> list[Any]:
    """The library alone: same model, beam and word times, no voice detection."""
    from faster_whisper import WhisperModel

    model = WhisperModel(str(find_model().folder), device="cpu", compute_type="int8", cpu_threads=THREADS)
    segments, _ = model.transcribe(
        str(recording), language="en", beam_size=5, word_timestamps=True, condition_on_previous_text=False
    )
    return list(segments)


class StandIn:
    """Hears the same words in every window: what is left is the work on the recording itself."""

    def listen(self, samples: Any, speech_until_s: float) -> list[Any]:
        """One passage of four words."""
        from pipeline.whisper import HeardPassage, HeardWord

        words = ("The", " box", " is", " thirty-eight.")
        return [HeardPassage(tuple(HeardWord(0.2 * n, 0.2 * n + 0.2, word, 0.9) for n, word in enumerate(words)), -0.3)]


def ours(recording: Path, hearing: Any, *, stand_in: bool = False) -> None:
    """The stage as the program runs it, with nothing kept from before."""
    with tempfile.TemporaryDirectory() as folder:
        settings = HearSettings(hearing=hearing, threads=THREADS)
        load = (lambda _model, _settings: StandIn()) if stand_in else None
        heard = hear(survey([recording])[0], settings, keep=Keep(Path(folder)), load=load)
        print(f"    {heard.duration_s:.0f} s of sound, {len(heard.transcript.segments)} segments")


def memory(minutes: float, *, stand_in: bool) -> None:
    """Peak memory of a careful hearing of so many minutes: a talk of a minute, again and again, with pauses."""
    import wave

    from pipeline.decode import RATE, blocks

    sample = Path(__file__).parents[2] / "samples" / "day" / "walk-in-cooler.m4a"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.wav"
        with wave.open(str(path), "wb") as file:
            file.setparams((1, 2, RATE, 0, "NONE", ""))
            for _ in range(max(1, round(minutes / 10))):
                for block, _number in zip(blocks(sample), range(6), strict=False):
                    file.writeframes((block * 32767).astype("<i2").tobytes())
                for _ in range(9):
                    file.writeframes(bytes(2 * 60 * RATE))
        measured(f"{minutes:.0f} minutes", lambda: ours(path, "careful", stand_in=stand_in))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak {peak:.0f} MB")


def main() -> None:
    """Prints the ratios or the peak."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("recording", type=Path, nargs="?")
    parser.add_argument("--memory", type=float)
    parser.add_argument("--stand-in", action="store_true")
    given = parser.parse_args()
    if given.memory:
        memory(given.memory, stand_in=given.stand_in)
        return
    alone = measured("bare", lambda: bare(given.recording))
    measured("quick", lambda: ours(given.recording, "quick"), alone)
    measured("careful", lambda: ours(given.recording, "careful"), alone)


if __name__ == "__main__":
    main()
