"""Hears a recording in a process of its own: a crafted file, a crash or a full memory costs that recording alone."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, ReportError, SetupError, StoreError

PEAKS_PER_S = 20
"""Points of the loudness strip a second; three hours give 216,000 bytes."""


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
    """What came out: the heard text and the source as JSON, and the loudness strip (empty for texts)."""

    body: str
    peaks: bytes


def hear_apart(
    wanted: Wanted, progress: Callable[[float, float], None], stopped: Callable[[], bool] = lambda: False
) -> Result:
    """Hears in another process and gives what it heard.

    `stopped` is asked now and then; when it answers True the process is ended and InputError raised. Raises the
    error that the process met, or StoreError when it died without a word.
    """
    command = [sys.executable, "-m", "pipeline.hear_apart"]
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    ) as child:
        assert child.stdin and child.stdout and child.stderr
        complaint: list[str] = []
        drain = threading.Thread(target=lambda: complaint.extend(child.stderr or ()), daemon=True)
        drain.start()
        try:
            # The pipe stays open: when this process dies, the child sees its end and goes too.
            child.stdin.write(json.dumps(asdict(wanted)) + "\n")
            child.stdin.flush()
            for line in child.stdout:
                told = json.loads(line)
                if "done" in told:
                    progress(told["done"], told["all"])
                if stopped():
                    raise InputError("stopped", "Hearing was stopped.", "Start it again when you want to.")
                if "error" in told:
                    raise _error(told["error"])
                if "result" in told:
                    return _taken(Path(told["result"]), Path(told["peaks"]) if told["peaks"] else None)
        finally:
            child.kill()
            child.wait()
            drain.join(timeout=5)
    tail = " ".join("".join(complaint).split()[-30:])
    raise StoreError(
        "hearing-died",
        f"The program that hears recordings ended without a result ({child.returncode}). {tail}".strip(),
        "Try again; if it happens again, close other programs or hear it in the quick way.",
    )


def _taken(result: Path, peaks: Path | None) -> Result:
    """What the other process wrote, which is then removed."""
    taken = Result(result.read_text(encoding="utf-8"), peaks.read_bytes() if peaks else b"")
    for path in (result, peaks):
        if path is not None:
            path.unlink(missing_ok=True)
    return taken


KINDS: Mapping[str, type[ReportError]] = {kind.__name__: kind for kind in (InputError, SetupError, StoreError)}


def _error(told: dict[str, str]) -> ReportError:
    return KINDS.get(told["kind"], StoreError)(told["code"], told["message"], told["hint"])


def _say(**told: Any) -> None:
    print(json.dumps(told), flush=True)


def _end_with_parent() -> None:
    """Waits for the parent to close the pipe, which also its death does, and ends this process."""
    sys.stdin.read()
    os._exit(1)


def main() -> None:
    """The other process: reads what is wanted from its input, tells progress and the result on its output."""
    from pipeline.hear import HearSettings, hear
    from pipeline.ingest import survey
    from pipeline.keep import Keep, make_folder, write_whole

    wanted = Wanted(**json.loads(sys.stdin.readline()))
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if hasattr(os, "nice"):
        # The pages of whoever reviews meanwhile come first.
        os.nice(5)
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
        folder = Path(wanted.work) / "apart"
        make_folder(folder)
        result = folder / f"{source.sha256}.{os.getpid()}.json"
        write_whole(result, json.dumps(body).encode())
        strip = None
        if source.kind == "sound":
            strip = folder / f"{source.sha256}.{os.getpid()}.peaks"
            write_whole(strip, peaks_of(source.path))
        _say(result=str(result), peaks=str(strip) if strip else "")
    except ReportError as fault:
        kind = next((name for name, cls in KINDS.items() if isinstance(fault, cls)), "StoreError")
        _say(error={"kind": kind, "code": fault.code, "message": fault.message, "hint": fault.hint})


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
