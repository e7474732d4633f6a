"""How fast the pages answer with many jobs of history, and an edit with many figures. Prints; asserts nothing on time.

    python tests/benchmarks/app_pages.py [JOBS]

Jobs are the invented visit of the tests, or the narrations given in a folder by NARRATIONS (texts are read for real).
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from app_drafts import draft
from app_store import ready_job, store_at
from starlette.testclient import TestClient
from test_web import BASE, FROM_HERE, NoEngine

from extractors.facts import Said
from pipeline.desk import Desk
from pipeline.draft import Draft, Recording
from pipeline.store import jobs
from pipeline.store.store import LOCAL, Store
from pipeline.web.app import create_app
from pipeline.web.people import User

SITES = ("feed store", "bakery", "parish hall", "day care", "fish place", "grocery", "school", "motel")


def visit(number: int, base: Draft) -> Draft:
    """The invented visit on another day at another machine, its capacitor a little weaker each year."""
    site, year = SITES[number % len(SITES)], 2020 + number // len(SITES) % 6
    day = Said(value=f"{year}-{1 + number % 12:02d}-{1 + number % 27:02d}", given=True)
    readings = tuple(
        one.model_copy(update={"value": round(one.value * (1 - 0.01 * (year - 2020)), 1)}) if one.value else one
        for one in base.readings
    )
    return base.model_copy(
        update={
            "readings": readings,
            "visit": base.visit.model_copy(update={"date": day, "site": Said(value=site)}),
            "equipment": base.equipment.model_copy(update={"serial": Said(value=f"K47-22{number % len(SITES):02d}9")}),
        }
    )


def narration(path: Path) -> Draft:
    """A narration, read for real."""
    from pipeline import run
    from pipeline.hear import HearSettings, hear
    from pipeline.ingest import survey
    from pipeline.keep import Keep
    from pipeline.plan import made_with, part_of

    with tempfile.TemporaryDirectory() as folder:
        source = survey([path])[0]
        heard = hear(source, HearSettings(), keep=Keep(Path(folder)))
    part = part_of(source, heard, range(len(heard.transcript.segments)))
    return run.drafted(run.started(source.name, [part], made_with([heard]), {}))


def measured(what: str, ask: Callable[[], object], times: int = 7) -> None:
    """Prints median and longest of some calls, in milliseconds; the first, which fills caches, on its own."""
    took = []
    for _ in range(times + 1):
        began = time.perf_counter()
        ask()
        took.append((time.perf_counter() - began) * 1000)
    print(
        f"{what:34} first {took[0]:6.0f} ms   median {statistics.median(took[1:]):6.0f}   longest {max(took[1:]):6.0f}"
    )


def seeded(store: Store, desk: Desk, count: int) -> list[str]:
    """A store with so many visits; gives the ids."""
    folder = os.environ.get("NARRATIONS", "")
    bases = [narration(path) for path in sorted(Path(folder).glob("*.said.txt"))[:6]] if folder else [draft()]
    for base in bases:
        print(f"{base.name or 'invented visit'}: {len(base.readings)} readings")
    recordings = (Recording(file="x", sha256="x"),)
    return [
        ready_job(
            store, desk, visit(n, bases[n % len(bases)]).model_copy(update={"recordings": recordings}),
            name=f"visit {n:04d}.m4a",
        )
        for n in range(count)
    ]  # fmt: skip


def main() -> None:
    """Seeds a store and asks every page."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    with tempfile.TemporaryDirectory() as folder:
        store = store_at(Path(folder))
        desk = Desk(store)
        ids = seeded(store, desk, count)
        client = TestClient(
            create_app(store, desk, NoEngine(), User(LOCAL, "Ann", "owner")), base_url=BASE, headers=FROM_HERE
        )
        with store.database.reading() as session:
            machine = jobs.job(session, ids[0], None).row.machine_id
        for name, address in (
            ("list of jobs", "/"),
            ("review page", f"/jobs/{ids[-1]}"),
            ("review page, another job", f"/jobs/{ids[0]}"),
            ("machine with its past", f"/machines/{machine}"),
            ("machines", "/machines"),
            ("search, a common word", "/find?q=cooler"),
            ("search, a serial", "/find?q=k47-22039"),
            ("to come back for", "/due"),
            ("own words", "/words"),
        ):
            measured(name, lambda address=address: client.get(address).raise_for_status())
        number = iter(range(10**6))

        def edit() -> None:
            now = desk.open(ids[-1], None)
            reading = now.draft.readings[0]
            body = {
                "id": f"bench{next(number):08d}", "do": "change", "handle": reading.id, "now": {"value": next(number)},
                "seen": now.stored.seen, "draft": now.stored.row.draft_key,
            }  # fmt: skip
            client.post(f"/jobs/{ids[-1]}/edits", json=body).raise_for_status()

        measured("an edit, with all that follows", edit)
        store.close()


if __name__ == "__main__":
    main()
