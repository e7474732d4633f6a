"""The terminal's program: how every command is made and how its faults are told. Commands stand in cli_*.py."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Annotated

import typer

from pipeline.errors import ReportError

app = typer.Typer(
    name="jobtape",
    help="Turns a technician's spoken day into drafted job reports, on this machine, with nothing sent anywhere.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def command(name: str, group: typer.Typer = app) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Makes a function a command whose every fault is a sentence and an exit status, never a traceback."""

    def register(work: Callable[..., None]) -> Callable[..., None]:
        @group.command(name)
        @wraps(work)
        def guarded(*args: object, **options: object) -> None:
            from pipeline.terminal import STOPPED, tell_error

            try:
                work(*args, **options)
            except ReportError as error:
                tell_error(error)
                raise typer.Exit(error.exit_status) from None
            except KeyboardInterrupt:
                tell_error(STOPPED)
                raise typer.Exit(130) from None
            except BrokenPipeError:
                # Whoever read our output has gone (`jobtape … | head`); there is nobody to tell.
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
                raise typer.Exit(141) from None
            except Exception as fault:
                if isinstance(fault, typer.Exit | typer.Abort):
                    raise
                from pipeline.faults import internal

                tell_error(internal(fault))
                raise typer.Exit(1) from None

        return guarded

    return register


Out = Annotated[
    Path, typer.Option("--out", "-o", metavar="DIR", help="The folder for the jobs; made when it is not there.")
]
Model = Annotated[
    str | None,
    typer.Option("--model", metavar="FOLDER", help="A folder with another speech model, or tiny.en for the small one."),
]
Hearing = Annotated[
    str | None,
    typer.Option("--hearing", metavar="HOW", help="careful (twice, with comparison) or quick (once, more doubts)."),
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No progress and no words about what went well.")]
ShopFile = Annotated[Path | None, typer.Option("--shop", metavar="FILE", help="The shop's own file, shop.toml.")]


def _version(wanted: bool) -> None:
    if wanted:
        from pipeline.versions import program

        print(f"jobtape {program()}")
        raise typer.Exit


@app.callback()
def _every_call(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    pass
