"""Who is at the page: on this machine alone its one user, on a network who signed in."""

from __future__ import annotations

import getpass
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.requests import Request

from pipeline.store.people import Role, checked_role
from pipeline.store.store import LOCAL

if TYPE_CHECKING:
    from pipeline.store.tables_people import PersonRow


@dataclass(frozen=True)
class User:
    """A person. `owner` is the id that jobs are kept under, `name` what stands beside edits."""

    id: str
    name: str
    role: Role

    @property
    def owner(self) -> str | None:
        """Whose jobs this person sees: his own, or all for None."""
        return self.id if self.role == "technician" else None


def local_user() -> User:
    """The user of this machine, who may do everything."""
    try:
        name = getpass.getuser()
    except (OSError, KeyError):
        name = "this computer"
    return User(LOCAL, name, "owner")


def user_of(person: PersonRow) -> User:
    """Somebody who signed in."""
    return User(person.id, person.name, checked_role(person.role))


def current_user(request: Request) -> User:
    """The person of a request."""
    user = viewer(request)
    assert user is not None
    return user


def viewer(request: Request) -> User | None:
    """The person of a request; None for somebody who did not sign in."""
    user = request.scope.get("state", {}).get("user")
    assert user is None or isinstance(user, User)
    return user
