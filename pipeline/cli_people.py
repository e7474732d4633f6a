"""Commands around people: who may sign in when the pages are on a network."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli_app import app, command
from pipeline.cli_store import Home, opened

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from pipeline.store.tables_people import PersonRow

people_app = typer.Typer(
    help="People who may sign in when the pages are on a network.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(people_app, name="people")

Name = Annotated[str, typer.Argument(metavar="NAME", help="The person's name, as it stands beside edits.")]
COMMAND = "the command line"


@command("add", people_app)
def add_person(
    name: Name,
    role: Annotated[str, typer.Option("--role", metavar="ROLE", help="technician, office or owner.")] = "technician",
    home: Home = None,
) -> None:
    """Let somebody sign in. The password is asked for, never given as a word of the command."""
    from pipeline.store import people

    with opened(home) as (store, _):
        people.checked_role(role)
        password = _asked_password(name)
        with store.database.writing() as session:
            people.add(session, name, role, password, COMMAND)
    print(f"{name} may sign in as {role}.")


def _asked_password(name: str) -> str:
    from pipeline.store.people import checked_password

    password: str = typer.prompt(f"Password for {name}", hide_input=True, confirmation_prompt="The same once more")
    return checked_password(password, name)


@command("list", people_app)
def list_people(home: Home = None) -> None:
    """List who may sign in."""
    from pipeline.store import people

    with opened(home) as (store, _), store.database.reading() as session:
        rows = people.listed(session)
        for row in rows:
            print("  ".join(filter(None, (row.name, row.role, "shut out" if row.disabled else ""))))
        if not rows:
            print("Nobody may sign in yet. Add somebody with: jobtape people add NAME --role owner")


@command("reset", people_app)
def reset_person(name: Name, home: Home = None) -> None:
    """Give somebody another password, sign him out everywhere, and take his second factor away."""
    from pipeline.store import people, second_factor

    with opened(home) as (store, _):
        with store.database.reading() as session:
            known = people.person(session, name).name
        password = _asked_password(known)
        with store.database.writing() as session:
            row = people.person(session, name)
            second_factor.switch_off(session, row, COMMAND)
            people.set_password(session, row, password, COMMAND)
    print(f"{known} has another password and is signed out everywhere.")


@command("role", people_app)
def set_role(
    name: Name, role: Annotated[str, typer.Argument(metavar="ROLE", help="technician, office or owner.")],
    home: Home = None,
) -> None:  # fmt: skip
    """Give somebody another role."""
    from pipeline.store import people

    _done(home, name, lambda session, row: people.set_role(session, row, role, COMMAND), f"is {role} now")


@command("disable", people_app)
def disable_person(name: Name, home: Home = None) -> None:
    """Shut somebody out at once, with all devices and scripts. What he did stays."""
    from pipeline.store import people

    _done(home, name, lambda session, row: people.set_disabled(session, row, True, COMMAND), "is shut out")


@command("enable", people_app)
def enable_person(name: Name, home: Home = None) -> None:
    """Let somebody in again."""
    from pipeline.store import people

    _done(home, name, lambda session, row: people.set_disabled(session, row, False, COMMAND), "may sign in again")


def _done(home: Home, name: str, work: Callable[[Session, PersonRow], None], told: str) -> None:
    from pipeline.store import people

    with opened(home) as (store, _), store.database.writing() as session:
        row = people.person(session, name)
        work(session, row)
        print(f"{row.name} {told}.")


@command("audit")
def audit_trail(
    who: Annotated[str, typer.Option("--who", metavar="NAME", help="Of this person alone.")] = "",
    job: Annotated[str, typer.Option("--job", metavar="JOB", help="Of this job alone, removed ones too.")] = "",
    since: Annotated[str, typer.Option("--since", metavar="DAY", help="From this day on, 2026-03-14.")] = "",
    last: Annotated[int, typer.Option("--last", metavar="N", help="How many lines, the newest first.")] = 200,
    home: Home = None,
) -> None:
    """Tell who read, changed, sent or removed what, when and from where; and who signed in or was refused."""
    from pipeline.store import audit
    from pipeline.store.jobs import checked_day

    with opened(home) as (store, _), store.database.reading() as session:
        day = checked_day(since) if since else ""
        for entry in audit.entries(session, who=who, job=job, since=day, limit=last):
            print(entry.line())
