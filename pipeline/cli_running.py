"""Commands that run a shop's store: workers, checks, backups."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli_app import Quiet, ShopFile, command
from pipeline.cli_store import Home


@command("worker")
def work(
    jobs: Annotated[
        int | None,
        typer.Option("--jobs", metavar="N", help="Jobs at a time, instead of as many as there are processor cores."),
    ] = None,
    home: Home = None,
    shop: ShopFile = None,
) -> None:
    """Hear and draft what is put in on any machine of the shop; stop it at any moment.

    Needs JOBTAPE_DB with a PostgreSQL address, and JOBTAPE_FILES with a shared folder or s3:// address. When a
    worker is gone, the others go on with its jobs within a minute.
    """
    import signal
    import threading

    from pipeline.log import begin
    from pipeline.settings import read_settings
    from pipeline.store.place import store_place
    from pipeline.worker import Workers

    place, settings = store_place(home=home), read_settings(shop=shop)
    begin(settings.log)
    stop = threading.Event()
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: stop.set())
    count = jobs if jobs is not None else 1 if place.embedded else os.cpu_count() or 1
    workers = Workers(place, settings, count)
    workers.start()
    try:
        print(f"Working on up to {count} {'job' if count == 1 else 'jobs'} at a time. Ctrl+C stops it.", flush=True)
        stop.wait()
    finally:
        workers.stop()


@command("verify-store")
def verify_store(home: Home = None, quiet: Quiet = False) -> None:
    """Read everything of the store back and compare it with its digests; says what is missing or damaged.

    The exit status is 5 when something is.
    """
    from pipeline.errors import StoreError
    from pipeline.store.place import store_place
    from pipeline.store.store import open_store
    from pipeline.store.verify import verify

    store = open_store(store_place(home=home))
    try:
        done = verify(store, print)
    finally:
        store.close()
    if not quiet:
        wrong = f"{len(done.faults)} wrong" if done.faults else "all as they should be"
        stray = f" {done.strays} more belong to nothing, which is no fault." if done.strays else ""
        print(f"{done.files} files read back: {wrong}.{stray}")
    if done.faults:
        raise typer.Exit(StoreError.exit_status)


@command("backup")
def make_backup(
    target: Annotated[Path, typer.Argument(metavar="TARGET", help="A folder, on another disk or machine.")],
    keep: Annotated[int, typer.Option("--keep", metavar="N", help="How many backups stay there, the newest.")] = 14,
    home: Home = None,
    quiet: Quiet = False,
) -> None:
    """Copy the whole store to TARGET while it is in use; files that are there already are not copied again."""
    from pipeline.errors import InputError, StoreError
    from pipeline.store.backup import backup
    from pipeline.store.place import store_place
    from pipeline.store.store import open_store

    if keep < 1:
        raise InputError("wrong-count", f"{keep} backups cannot be kept.", "Give 1 or more.")
    store = open_store(store_place(home=home))
    try:
        done = backup(store, target, keep=keep, tell=_told(quiet))
    finally:
        store.close()
    if not quiet:
        print(f"{done.rows} rows and {done.files} files ({done.copied} new) are in {done.folder}.")
    for sha256 in done.missing:
        print(f"missing in the store: sha256 {sha256}")
    if done.missing:
        raise typer.Exit(StoreError.exit_status)


@command("restore")
def restore_store(
    source: Annotated[Path, typer.Argument(metavar="SOURCE", help="A TARGET of jobtape backup, or one backup in it.")],
    home: Home = None,
    quiet: Quiet = False,
) -> None:
    """Fill an empty store from a backup, the newest of SOURCE; servers and workers may run on it."""
    from pipeline.errors import StoreError
    from pipeline.store.backup import restore
    from pipeline.store.place import store_place
    from pipeline.store.store import open_store

    store = open_store(store_place(home=home))
    try:
        done = restore(store, source, tell=_told(quiet))
    finally:
        store.close()
    if not quiet:
        print(f"{done.rows} rows and {done.files} files were restored from {done.folder}.")
    for sha256 in done.missing:
        print(f"missing in the backup: sha256 {sha256}")
    if done.missing:
        raise typer.Exit(StoreError.exit_status)


def _told(quiet: bool) -> Callable[[str], None]:
    return (lambda _: None) if quiet else print


@command("retention")
def keep_so_long(
    yes: Annotated[bool, typer.Option("--yes", help="Remove it now.")] = False,
    home: Home = None,
) -> None:
    """Show what is older than JOBTAPE_RECORDINGS and JOBTAPE_PAPERS say; workers remove it once a day."""
    from datetime import UTC, datetime

    from pipeline.settings import read_settings
    from pipeline.store.backups import reach
    from pipeline.store.place import store_place
    from pipeline.store.retention import Keeping, due, expire, sweep
    from pipeline.store.store import open_store

    settings = read_settings()
    store = open_store(store_place(home=home))
    try:
        with store.database.reading() as session:
            found = due(session, Keeping(settings.recording_days, settings.paper_years), datetime.now(UTC).date())
        print(f"{len(found.recordings)} recordings and {len(found.jobs)} jobs are due to be removed.")
        if found.unchecked:
            print(f"{found.unchecked} recordings stay until their jobs are checked.")
        if yes:
            expire(store, found)
            sweep(store)
            for target in reach(store):
                print(f"The backups in {target} could not be reached; it is taken out there with the next one.")
    finally:
        store.close()


@command("hold")
def hold_job(
    job: Annotated[str, typer.Argument(metavar="JOB", help="A job's id, as jobtape jobs shows it.")],
    off: Annotated[bool, typer.Option("--off", help="Take the hold off.")] = False,
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="The reason, for the trail of deeds.")] = "",
    home: Home = None,
) -> None:
    """Keep a job and its recordings whatever is removed by age or by hand, until the hold is taken off."""
    from pipeline.store.place import store_place
    from pipeline.store.retention import hold
    from pipeline.store.store import open_store

    store = open_store(store_place(home=home))
    try:
        with store.database.writing() as session:
            hold(session, job, not off, "the command line", why)
    finally:
        store.close()
    print("The hold was taken off." if off else "The job is on hold.")
