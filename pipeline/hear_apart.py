"""Hears a recording in a process of its own: a crafted file, a crash or a full memory costs that recording alone."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, ReportError, SetupError, StoreError

PEAKS_PER_S = 20
"""Points of the loudness strip a second; three hours give 216,000 bytes."""


PLAYED_EVERYWHERE = frozenset({".aac", ".m4a", ".m4b", ".mp3", ".mp4", ".wav"})
"""By the common browsers of 2024 and later; of any other kind a copy is made. From memory."""


@dataclass(frozen=True)
class Wanted:
    """What is to be heard: a file, the folder for kept results, and the settings."""

    path: str
    work: str
    model: str = ""
    hearing: str = "careful"
    hotwords: str = ""
    threads: int = 0


@dataclass(frozen=True)
class Result:
    """What came out: the heard text and the source as JSON, and the loudness strip (empty for texts).

    `playable` is a copy that every browser plays, of a recording that some do not; else empty.
    """

    body: str
    peaks: bytes = b""
    playable: bytes = b""


MOST_MEMORY = 6 << 30
"""Bytes of data that the process may hold, several times what a careful hearing takes."""
MOST_WRITTEN = 2 << 30
"""Bytes of one file that it may write."""
SILENT_FOR_S = 900.0
"""A process that tells no progress for so long hangs: a step of hearing takes seconds."""
LONGEST_HEARING_S = 24 * 3600.0

_children: set[subprocess.Popen[str]] = set()


def end_all() -> None:
    """Ends all hearing of this process at once; what was kept of it is gone on with at the next start."""
    for child in list(_children):
        child.kill()


def hear_apart(wanted: Wanted, progress: Callable[[float, float], None]) -> Result:
    """Hears in another process and gives what it heard. What `progress` raises ends it.

    Raises the error that the process met, or StoreError when it died without a word.
    """
    command = [sys.executable, "-m", "pipeline.hear_apart"]
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environment,
        start_new_session=True,
    ) as child:
        assert child.stdin and child.stdout and child.stderr
        _children.add(child)
        complaint: list[str] = []
        drain = threading.Thread(target=lambda: complaint.extend(child.stderr or ()), daemon=True)
        drain.start()
        watch = _Watch(child)
        try:
            # The pipe stays open: when this process dies, the child sees its end and goes too.
            child.stdin.write(json.dumps(asdict(wanted)) + "\n")
            child.stdin.flush()
            for line in child.stdout:
                watch.told()
                told = json.loads(line)
                if "done" in told:
                    progress(told["done"], told["all"])
                if "error" in told:
                    raise _error(told["error"])
                if "result" in told:
                    return _taken(Path(told["result"]))
        finally:
            watch.end()
            _children.discard(child)
            child.kill()
            child.wait()
            drain.join(timeout=5)
    if watch.struck:
        raise InputError(
            "hearing-hung",
            "The recording could not be heard in any bearable time, and was set aside.",
            "Play it in another program; if it plays, save it as WAV or M4A and give that file.",
        )
    tail = " ".join("".join(complaint).split()[-30:])
    raise StoreError(
        "hearing-died",
        f"The program that hears recordings ended without a result ({child.returncode}). {tail}".strip(),
        "Try again; if it happens again, close other programs or hear it in the quick way.",
    )


class _Watch:
    """Ends a process that tells nothing for too long, or goes on for too long altogether."""

    def __init__(self, child: subprocess.Popen[str]) -> None:
        self.child, self.struck = child, False
        self._began = self._heard = time.monotonic()
        self._ended = threading.Event()
        threading.Thread(target=self._look, daemon=True).start()

    def told(self) -> None:
        """It said something."""
        self._heard = time.monotonic()

    def end(self) -> None:
        """Nothing more is to be watched."""
        self._ended.set()

    def _look(self) -> None:
        while not self._ended.wait(min(5.0, SILENT_FOR_S / 4)):
            now = time.monotonic()
            if now - self._heard > SILENT_FOR_S or now - self._began > LONGEST_HEARING_S:
                self.struck = True
                self.child.kill()
                return


def _limit() -> None:
    """Bounds what this process may take, for the case that a crafted file makes a decoder run wild."""
    try:
        import resource
    except ImportError:
        # Windows has none of these limits; the time is watched from outside.
        return
    for kind, most in (("DATA", MOST_MEMORY), ("FSIZE", MOST_WRITTEN), ("CORE", 0), ("NOFILE", 256)):
        number = getattr(resource, f"RLIMIT_{kind}")
        hard = resource.getrlimit(number)[1]
        resource.setrlimit(number, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))


def _taken(folder: Path) -> Result:
    """What the other process wrote, which is then removed."""
    body = (folder / "heard.json").read_text(encoding="utf-8")
    strip, copy = folder / "peaks", folder / "sound.m4a"
    result = Result(body, strip.read_bytes() if strip.exists() else b"", copy.read_bytes() if copy.exists() else b"")
    shutil.rmtree(folder, ignore_errors=True)
    return result


KINDS: Mapping[str, type[ReportError]] = {kind.__name__: kind for kind in (InputError, SetupError, StoreError)}


def _error(told: dict[str, str]) -> ReportError:
    return KINDS.get(told["kind"], StoreError)(told["code"], told["message"], told["hint"])


def _say(**told: Any) -> None:
    print(json.dumps(told), flush=True)


def _end_with_parent() -> None:
    """Waits for the parent to close the pipe, which also its death does, and ends this process."""
    sys.stdin.read()
    os._exit(1)


NICE = 10
"""How far hearing stands back, in the steps of nice(2): it gets a tenth of what somebody at a page asks for. The worker
itself does not, since it would hold the store's lock while it waits for its turn."""


def _step_back() -> None:
    """The pages of whoever reviews meanwhile come first."""
    with contextlib.suppress(AttributeError, OSError):
        os.nice(NICE)
    # Linux shares the processors among sessions first (sched(7), autogroup) and heeds nice only within one; this
    # process leads a session of its own, which has to stand back as well.
    with contextlib.suppress(OSError):
        Path("/proc/self/autogroup").write_text(str(NICE), encoding="ascii")


def main() -> None:
    """The other process: reads what is wanted from its input, tells progress and the result on its output."""
    _step_back()
    from pipeline.hear import HearSettings, hear
    from pipeline.ingest import survey
    from pipeline.keep import Keep, make_folder, write_whole

    wanted = Wanted(**json.loads(sys.stdin.readline()))
    _limit()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    try:
        source = survey([Path(wanted.path)])[0]
        if source.fault is not None:
            raise source.fault
        settings = HearSettings.model_validate(
            {name: getattr(wanted, name) for name in ("model", "hearing", "hotwords", "threads")}
        )
        keep = Keep(Path(wanted.work))
        heard = hear(source, settings, lambda done, every: _say(done=done, all=every), keep=keep)
        body = {
            "heard": heard.model_dump(mode="json"),
            "source": {
                "sha256": source.sha256,
                "kind": source.kind,
                "declared_s": source.declared_s,
                "recorded_at": source.recorded_at,
                "recorded_at_from": source.recorded_at_from,
            },
        }
        make_folder(Path(wanted.work))
        folder = Path(tempfile.mkdtemp(prefix="apart-", dir=wanted.work))
        write_whole(folder / "heard.json", json.dumps(body).encode())
        if source.kind == "sound":
            write_whole(folder / "peaks", peaks_of(source.path))
            if source.path.suffix.lower() not in PLAYED_EVERYWHERE:
                playable_copy(source.path, folder / "sound.m4a")
        _say(result=str(folder))
    except ReportError as fault:
        kind = next((name for name, cls in KINDS.items() if isinstance(fault, cls)), "StoreError")
        _say(error={"kind": kind, "code": fault.code, "message": fault.message, "hint": fault.hint})
    except MemoryError:
        _say(
            error={
                "kind": "InputError",
                "code": "too-much-memory",
                "message": "The recording needs more memory to be read than any recording should.",
                "hint": "Save it anew as WAV or M4A in another program and give that file.",
            }
        )


def playable_copy(path: Path, copy: Path) -> None:
    """Writes a copy in AAC, 16 kHz and one channel, with the times of the original."""
    import av

    from pipeline.decode import RATE, blocks

    with av.open(str(copy), "w", format="ipod") as container:
        track = container.add_stream("aac", rate=RATE, layout="mono")
        track.bit_rate = 48_000
        at = 0
        for block in blocks(path):
            frame = av.AudioFrame.from_ndarray(block.reshape(1, -1), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = RATE, at
            at += len(block)
            container.mux(track.encode(frame))
        container.mux(track.encode(None))


def peaks_of(path: Path) -> bytes:
    """The loudness of a recording for its strip: one byte for each twentieth of a second, 255 the loudest possible.

    Square roots of the peaks, so that speech far from the phone is still seen.
    """
    import numpy as np

    from pipeline.decode import RATE, blocks

    width = RATE // PEAKS_PER_S
    made: list[bytes] = []
    left = np.zeros(0, dtype="float32")
    for block in blocks(path):
        sound = np.concatenate((left, np.abs(block)))
        whole = len(sound) // width
        rows = sound[: whole * width].reshape(whole, width)
        made.append((np.sqrt(np.clip(rows.max(axis=1), 0, 1)) * 255).astype("uint8").tobytes())
        left = sound[whole * width :]
    return b"".join(made)


if __name__ == "__main__":
    main()
