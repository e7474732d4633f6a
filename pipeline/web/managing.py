"""The page of people, for owners: who may sign in, in which role, and shutting out."""

from __future__ import annotations

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from pipeline.errors import InputError
from pipeline.store import people, second_factor
from pipeline.store.tables_people import PersonRow
from pipeline.web.answers import page
from pipeline.web.desk_of import store_of
from pipeline.web.people import current_user
from pipeline.web.signing import form_of


def everybody(request: Request) -> Response:
    """GET /people: everybody with his role."""
    return _page(request)


def _page(request: Request, status: int = 200, told: str = "", given: tuple[str, str] | None = None) -> Response:
    with store_of(request).database.reading() as session:
        rows = people.listed(session)
        session.expunge_all()
    now = people.moment()
    return page(
        request, "people", status=status, rows=rows, roles=people.ROLES, told=told, given=given,
        days=people.START_DAYS, now=now,
    )  # fmt: skip


async def add(request: Request) -> Response:
    """POST /people: lets somebody in, with a password to begin with that is shown once."""
    return await to_thread.run_sync(_add, request)


def _add(request: Request) -> Response:
    said, user, password = form_of(request), current_user(request), people.start_password()
    try:
        with store_of(request).database.writing() as session:
            row = people.add(session, said.get("name", ""), said.get("role", ""), password, user.name, start=True)
            name = row.name
    except InputError as fault:
        return _page(request, 400, told=f"{fault.message} {fault.hint}")
    return _page(request, given=(name, password))


async def change(request: Request) -> Response:
    """POST /people/ID: another role, a new start, shut out, let in again."""
    return await to_thread.run_sync(_change, request)


def _change(request: Request) -> Response:
    said, who, given = form_of(request), current_user(request).name, None
    try:
        with store_of(request).database.writing() as session:
            row = session.get(PersonRow, request.path_params["person"])
            if row is None:
                raise people.no_such_person("so")
            match said.get("do"):
                case "role":
                    people.set_role(session, row, said.get("role", ""), who)
                case "disable":
                    people.set_disabled(session, row, True, who)
                case "enable":
                    people.set_disabled(session, row, False, who)
                case "reset":
                    given = (row.name, people.start_password())
                    second_factor.switch_off(session, row, who)
                    people.set_password(session, row, given[1], who, start=True)
                case _:
                    raise InputError("unknown-deed", "The page asked for something unknown.", "Reload it.")
    except InputError as fault:
        return _page(request, 400, told=f"{fault.message} {fault.hint}")
    return _page(request, given=given) if given else RedirectResponse("/people", status_code=303)
