"""Who is at the page. On this machine alone it is its one user; sign-in for a network belongs here."""

from __future__ import annotations

import getpass
from dataclasses import dataclass
from typing import Literal

from starlette.requests import Request

from pipeline.store.store import LOCAL


@dataclass(frozen=True)
class User:
    """A person. `owner` is the id that jobs are kept under, `name` what stands beside edits."""

    id: str
    name: str
    role: Literal["technician", "office", "owner"]

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


def current_user(request: Request) -> User:
    """The person of a request."""
    user = request.app.state.user
    assert isinstance(user, User)
    return user
