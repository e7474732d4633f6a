"""Commands around the store: serve its pages, list and find jobs and machines, take everything out and in, forget."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli_app import Quiet, ShopFile, command
from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.desk import Desk
    from pipeline.store.store import Store
    from pipeline.store.tables import JobRow

Home = Annotated[
    Path | None,
    typer.Option("--home", metavar="DIR", help="The folder of the store, instead of the one in JOBTAPE_HOME."),
]


@contextmanager
def opened(home: Path | None, shop: Path | None = None) -> Iterator[tuple[Store, Desk]]:
    """The store with its desk, for the length of one command."""
    from pipeline.desk import Desk, shop_of
    from pipeline.settings import read_settings
    from pipeline.store.place import store_place
    from pipeline.store.store import open_store

    place = store_place(home=home)
    store = open_store(place)
    try:
        yield store, Desk(store, shop_of(place, read_settings(shop=shop)))
    finally:
        store.close()


@command("serve")
def serve_pages(
    port: Annotated[
        int, typer.Option("--port", metavar="N", help="The port on this machine; 0 for any free one.")
    ] = 8610,
    open_browser: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    listen: Annotated[
        str,
        typer.Option("--listen", metavar="ADDRESS", help="Serve a network: the address to listen on, 0.0.0.0 for all."),
    ] = "",
    names: Annotated[
        list[str] | None,
        typer.Option("--name", metavar="HOST", help="A name under which others reach this machine; several may be."),
    ] = None,
    certificate: Annotated[
        Path | None,
        typer.Option("--certificate", metavar="FILE", help="A TLS certificate of your own, instead of the made one."),
    ] = None,
    key: Annotated[Path | None, typer.Option("--key", metavar="FILE", help="The key of --certificate.")] = None,
    proxies: Annotated[
        list[str] | None,
        typer.Option("--behind-proxy", metavar="ADDRESS", help="The proxy that speaks TLS for this program."),
    ] = None,
    home: Home = None,
    shop: ShopFile = None,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", metavar="N", help="Jobs worked on beside the pages: 1, or none when JOBTAPE_DB is PostgreSQL."
        ),
    ] = None,
) -> None:
    """Review jobs in the browser, on this machine only unless --listen is given.

    Put recordings in on the page; they are heard and drafted while it runs. Stop it with Ctrl+C: what is in
    work goes on at the next start.
    """
    from pipeline.settings import read_settings
    from pipeline.store.place import store_place
    from pipeline.web.certificate import fingerprint
    from pipeline.web.network import network_of
    from pipeline.web.serve import serve

    if not listen and (names or certificate or key or proxies):
        raise InputError("not-listening", "Those options are for a network.", "Say where to listen: --listen ADDRESS.")
    place = store_place(home=home)
    network = network_of(place, listen, names or (), certificate, key, proxies or ()) if listen else None

    def tell(address: str) -> None:
        who = "on this machine only" if network is None else "people sign in"
        print(f"jobtape is at {address} ({who}). Ctrl+C stops it.", flush=True)
        if network is not None and network.certificate is not None:
            print(f"Its certificate's SHA-256: {fingerprint(network.certificate)}", flush=True)
        if open_browser:
            import webbrowser

            webbrowser.open(address)

    if workers is None:
        workers = 1 if place.embedded else 0
    serve(place, read_settings(shop=shop), port, tell, network, workers)


def _job_line(row: JobRow) -> str:
    states = {"waiting": "waiting", "hearing": "being heard", "failed": f"not done: {row.reason or ''}"}
    state = states.get(row.job_state, row.review)
    if row.job_state == "ready" and row.review == "draft" and row.doubts:
        state = f"{row.doubts} to hear"
    parts = [row.visit_day or row.created_at[:10], row.title or row.name, row.site, row.serial, state]
    return f"{row.id}  " + "  ".join(part for part in parts if part)


@command("jobs")
def list_jobs(
    home: Home = None,
    limit: Annotated[int, typer.Option("--last", metavar="N", help="How many, the newest first.")] = 50,
) -> None:
    """List the jobs of the store, the newest first."""
    from pipeline.store import jobs

    with opened(home) as (store, _), store.database.reading() as session:
        rows = jobs.listed(session, None, limit=limit)
        print("\n".join(map(_job_line, rows)) if rows else "No job yet. Put recordings in with: jobtape serve")


@command("find")
def find_jobs(
    words: Annotated[list[str], typer.Argument(metavar="WORDS", help="All of them must have been said or written.")],
    since: Annotated[
        str | None, typer.Option("--since", metavar="DAY", help="Visits from this day on, 2026-03-14.")
    ] = None,
    until: Annotated[str | None, typer.Option("--until", metavar="DAY", help="Visits up to this day.")] = None,
    home: Home = None,
) -> None:
    """Find jobs by anything said or written: words, a serial, a part number, a site."""
    from pipeline.store import search

    with opened(home) as (store, _), store.database.reading() as session:
        rows = search.find(session, " ".join(words), since=since, until=until)
        print("\n".join(map(_job_line, rows)) if rows else "No job holds all these words.")


@command("machine")
def show_machine(
    words: Annotated[list[str], typer.Argument(metavar="WORDS", help="Its serial, or words of its plate or site.")],
    home: Home = None,
) -> None:
    """Show a machine's plate, visits, figures over the years, and what is open."""
    from pipeline.history import series_of
    from pipeline.store import machines
    from pipeline.words import load_words
    from pipeline.words.figures import digits, unit_text

    with opened(home) as (store, _), store.database.reading() as session:
        found = machines.machines(session, None, " ".join(words))
        if not found:
            raise InputError("no-such-machine", "No machine has all these words on its plate.", "Try fewer of them.")
        if len(found) > 1:
            for row in found:
                print("  ".join(filter(None, (row.id, row.make, row.type, row.model, row.serial, row.site))))
            return
        past = machines.past(session, found[0].id, None)
        row, catalogue = past.machine, load_words()
        print(
            "  ".join(
                filter(None, (row.make, row.type, row.model, row.serial, row.refrigerant, row.site, row.location))
            )
        )
        for job in past.jobs:
            print(_job_line(job))
        for series in series_of(past.figures):
            if series.visits > 1:
                unit = unit_text(series.unit or None, catalogue)
                points = ", ".join(
                    f"{point.day} {digits(point.value, catalogue)}{'?' if point.doubtful else ''}"
                    for point in series.points
                )
                name = f"{series.subject}, {series.place}" if series.place else series.subject
                print(f"{name}, {series.quantity.replace('_', ' ')} ({unit}): {points}")
        for item in past.follow_ups:
            print(f"open: {item.text} {item.due or item.when_said}".rstrip())


@command("export")
def export_store(
    out: Annotated[Path, typer.Argument(metavar="DIR", help="The folder to write into.")],
    about: Annotated[
        str | None, typer.Option("--about", metavar="WORDS", help="Only what is held on a customer or site.")
    ] = None,
    person: Annotated[
        str | None, typer.Option("--person", metavar="ID", help="Only what is held on one of the shop's own people.")
    ] = None,
    home: Home = None,
    shop: ShopFile = None,
    quiet: Quiet = False,
) -> None:
    """Write everything as plain files: recordings, drafts, edits and papers, one folder a job."""
    from pipeline.transfer import export

    with opened(home, shop) as (store, desk):
        if about or person:
            from pipeline.held import export_about

            tell = (lambda _: None) if quiet else print
            _told(export_about(store, desk, out, words=about, person=person, tell=tell), "written", quiet)
            return
        _told(export(store, desk, out, (lambda _: None) if quiet else print), "written", quiet)


@command("import")
def import_store(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder made by jobtape export.")],
    home: Home = None,
    shop: ShopFile = None,
    quiet: Quiet = False,
) -> None:
    """Read back what export wrote; jobs that are there already are left alone."""
    from pipeline.store.store import LOCAL
    from pipeline.transfer import bring_in

    with opened(home, shop) as (store, desk):
        _told(bring_in(store, desk, folder, LOCAL, (lambda _: None) if quiet else print), "read", quiet)


def _told(moved: object, how: str, quiet: bool) -> None:
    import sys

    from pipeline.transfer import Moved

    assert isinstance(moved, Moved)
    if not quiet:
        known = f", {moved.known} were there already" if moved.known else ""
        print(f"{moved.done} {'job was' if moved.done == 1 else 'jobs were'} {how}{known}.")
    for fault in moved.faults:
        print(f"jobtape: {fault}", file=sys.stderr)
    if moved.faults:
        raise typer.Exit(InputError.exit_status)


@command("forget")
def forget_jobs(
    job_id: Annotated[str | None, typer.Argument(metavar="JOB", help="A job's id, as jobtape jobs shows it.")] = None,
    before: Annotated[
        str | None, typer.Option("--before", metavar="DAY", help="Every job whose visit was before this day.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    home: Home = None,
) -> None:
    """Remove a job, or everything older than a day, for good: recording, words, report and papers."""
    from pipeline.store import jobs
    from pipeline.store.backups import reach
    from pipeline.store.forgetting import forget

    if (job_id is None) == (before is None):
        raise InputError("forget-what", "Nothing was named.", "Name one job, or a day with --before 2025-01-31.")
    with opened(home) as (store, _):
        with store.database.reading() as session:
            if job_id is not None:
                rows = [jobs.job(session, job_id, None).row]
            else:
                rows = jobs.older_than(session, jobs.checked_day(before or ""))
            for row in rows:
                print(_job_line(row))
            ids = [row.id for row in rows]
        if not ids:
            print("No job is that old.")
            return
        if not yes:
            typer.confirm(f"Remove {'this job' if len(ids) == 1 else f'these {len(ids)} jobs'} for good?", abort=True)
        forget(store, ids, "the command line")
        for target in reach(store):
            print(f"The backups in {target} could not be reached; it is taken out there with the next one.")
        print(f"{len(ids)} {'job was' if len(ids) == 1 else 'jobs were'} removed.")


@command("upgrade-store")
def upgrade_store(home: Home = None) -> None:
    """Bring a store made by an earlier version to this one. Make a backup of its folder first."""
    from pipeline.store.database import HEAD, Database, upgrade, version_of
    from pipeline.store.place import store_place

    database = Database(store_place(home=home).database)
    try:
        before = version_of(database)
        upgrade(database)
    finally:
        database.close()
    print("The store was up to date." if before == HEAD else f"The store is now of version {HEAD}.")
