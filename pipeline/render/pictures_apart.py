"""Draws an uploaded picture anew in a process of its own: a crafted file costs that picture alone."""

from __future__ import annotations

import contextlib
import subprocess
import sys

from pipeline.render.pictures import redrawn

MOST_MEMORY = 3 << 30
"""Bytes of addresses: the largest picture that is unpacked needs three copies of 360 MB."""
MOST_S = 30
"""Seconds, of processor time and by the clock."""


def redrawn_apart(data: bytes) -> bytes | None:
    """See `redrawn`; None also when the other process died or took too long."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pipeline.render.pictures_apart"],
            input=data,
            capture_output=True,
            timeout=MOST_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return None
    return done.stdout if done.returncode == 0 and done.stdout else None


def main() -> None:
    """The other process: a picture on its input, the redrawn one on its output, nothing for what is none."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_S, MOST_S))
    made = redrawn(sys.stdin.buffer.read())
    if made is not None:
        sys.stdout.buffer.write(made)


if __name__ == "__main__":
    main()
