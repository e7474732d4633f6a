"""Commands around a draft: make it, ask it, print it, and see whether this machine is ready."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli_app import Hearing, Model, Out, Quiet, ShopFile, command


@command("draft")
def draft(
    sources: Annotated[list[Path], typer.Argument(metavar="SOURCE", help="Recordings, texts, or folders with them.")],
    out: Out,
    one_job: Annotated[bool, typer.Option("--one-job", help="All sources are one job.")] = False,
    given: Annotated[
        list[str] | None,
        typer.Option(
            "--given", metavar="KEY=VALUE", help="What nobody said: customer=…, refrigerant=R-404A, altitude_ft=…"
        ),
    ] = None,
    model: Model = None,
    hearing: Hearing = None,
    shop: ShopFile = None,
    quiet: Quiet = False,
) -> None:
    """Draft job reports from recordings.

    Every job of the sources gets a folder under --out, with draft.json and the papers. What is there already is
    not done again. A source with a fault does not stop the others.
    """
    from pipeline.day import Wish, draft_day
    from pipeline.given import read_pairs
    from pipeline.settings import read_settings
    from pipeline.terminal import Progress, day_text, tell_faults

    settings = read_settings(model=model, hearing=hearing, shop=shop)
    progress = Progress(quiet=quiet)
    try:
        day = draft_day(sources, out, settings, Wish(one_job, read_pairs(given or [])), progress)
    finally:
        progress.close()
    if not quiet:
        print(day_text(day))
    if status := tell_faults(day):
        raise typer.Exit(status)


@command("hear")
def hear_source(
    source: Annotated[Path, typer.Argument(metavar="SOURCE", help="A recording or a text.")],
    model: Model = None,
    hearing: Hearing = None,
    quiet: Quiet = False,
) -> None:
    """Print a recording as timed text.

    A line an utterance, [m:ss] and the words: the form that `jobtape draft` reads as a source.
    """
    from pipeline.listening import timed_text
    from pipeline.settings import read_settings
    from pipeline.terminal import Progress

    progress = Progress(quiet=quiet)
    try:
        settings = read_settings(model=model, hearing=hearing)
        text = timed_text(source, settings, partial(progress, f"hearing {source.name}"))
    finally:
        progress.close()
    print(text)


@command("why")
def why(
    draft: Annotated[Path, typer.Argument(metavar="DRAFT", help="A job's folder, or its draft.json.")],
    fact: Annotated[str, typer.Argument(metavar="ID", help="r3, f1, a2, p1, c4, t1, u2 or a field: equipment.model")],
) -> None:
    """Tell where a fact came from.

    The words and seconds, what fired, what was refused beside it, which checks use it.
    """
    from pipeline.why import explain

    print(explain(draft, fact))


@command("papers")
def papers(
    draft: Annotated[Path, typer.Argument(metavar="DRAFT", help="A job's folder, or its draft.json.")],
    paper: Annotated[
        list[str] | None, typer.Option("--paper", metavar="NAME", help="Which paper; all of them when not given.")
    ] = None,
    form: Annotated[
        list[str] | None, typer.Option("--as", metavar="FORM", help="html, pdf, docx or md; every form when not given.")
    ] = None,
    shop: ShopFile = None,
    quiet: Quiet = False,
) -> None:
    """Make papers of a draft anew.

    From draft.json and the edits beside it, in the job's folder; prints the files that were written.
    """
    from pipeline.paperwork import make_papers
    from pipeline.settings import read_settings

    written = make_papers(draft, paper or [], form or [], read_settings(shop=shop))
    if not quiet:
        print(*written, sep="\n")


@command("check-setup")
def check_setup(
    model: Model = None,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="DIR", help="A folder for jobs that should be writable.")
    ] = None,
) -> None:
    """See whether this machine is ready.

    Tries the speech models, the language model, the fonts and the folders, and says what to do about a fault.
    """
    from pipeline.settings import read_settings
    from pipeline.setup_check import look

    rows = look(read_settings(model=model), out)
    for row in rows:
        print(row.text)
    if not all(row.sound for row in rows):
        raise typer.Exit(3)
