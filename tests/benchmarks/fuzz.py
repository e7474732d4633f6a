"""All parsers of uploaded things under hypothesis, for as long as is wished. Prints what was tried and what fell over.

    python tests/benchmarks/fuzz.py [SECONDS] [NAME ...]

Default: 600 seconds over all of them, each in a process of its own, so that one that kills its process is seen too.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from app_fuzz import TARGETS
from hypothesis import HealthCheck, Phase, given, settings

ROUND = settings(
    max_examples=200, deadline=None, database=None, suppress_health_check=list(HealthCheck),
    phases=[Phase.generate, Phase.shrink],
)  # fmt: skip


def one(name: str, seconds: float) -> None:
    """Throws things at one parser until the time is over."""
    target, until, tried = TARGETS[name], time.monotonic() + seconds, 0

    def counted(value: object) -> None:
        nonlocal tried
        tried += 1
        if time.monotonic() < until:
            target.run(value)

    while time.monotonic() < until:
        ROUND(given(target.values())(counted))()
    print(tried)


def main() -> None:
    """All of them in turn."""
    if sys.argv[1:2] == ["--one"]:
        one(sys.argv[2], float(sys.argv[3]))
        return
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 600.0
    names = sys.argv[2:] or list(TARGETS)
    fell = 0
    for name in names:
        command = [sys.executable, __file__, "--one", name, str(seconds / len(names))]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode == 0:
            print(f"{name}: {done.stdout.split()[-1]} tried, none fell over", flush=True)
        else:
            fell += 1
            print(f"{name}: fell over ({done.returncode})\n{done.stderr[-3000:]}", flush=True)
    assert fell == 0


if __name__ == "__main__":
    main()
