"""Recordings sent while workers, the server and the database are killed at random. Prints what came of it.

    python tests/benchmarks/kills.py [JOBS] [KILL_EVERY_S] [WORKERS] [SEED]

Needs PostgreSQL's programs. The transcriber sleeps two seconds; each recording is sent twice at the same time; one
worker is killed for good, and the database is away for a minute. Defaults: 200 jobs, a kill every 4 s, 4 workers, 8.
Fails when anything was lost or done twice in effect.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import asdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from app_kills import storm
from app_postgres import postgres


def main() -> None:
    """Runs it and prints the counts."""
    given = [float(one) for one in sys.argv[1:5]]
    jobs, every, workers, seed = [*given, *(200, 4, 4, 8)[len(given) :]]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with postgres(folder / "pg") as address:
            counts = storm(
                folder, address, jobs=int(jobs), seconds=2.0, workers=int(workers), kill_every_s=every, away_s=60.0,
                seed=int(seed),
            )  # fmt: skip
    for key, value in asdict(counts).items():
        print(f"{key}: {value}")
    assert (counts.lost, counts.twice) == ([], [])


if __name__ == "__main__":
    main()
