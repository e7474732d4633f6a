"""Who may do what: one table of all addresses, and the one place that decides. What is not in it is refused."""

from __future__ import annotations

from collections.abc import Iterable, MutableMapping
from dataclasses import dataclass
from typing import Any

from starlette.routing import BaseRoute, Match, Mount, Route

from pipeline.web.people import User

ALL = frozenset({"technician", "office", "owner"})
OFFICE = frozenset({"office", "owner"})
OWNER = frozenset({"owner"})
NOBODY: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Rule:
    """Who may ask. `open` to everybody, also unknown; `script` with an upload token; `start` with a start password.

    `reads` names what is read of a job or machine, for the audit trail.
    """

    roles: frozenset[str] = NOBODY
    open: bool = False
    script: bool = False
    start: bool = False
    reads: str = ""


REFUSED = Rule()

RULES: dict[tuple[str, str], Rule] = {
    ("GET", "/health"): Rule(open=True),
    ("GET", "/ready"): Rule(open=True),
    # It asks for its own token, or to be asked from this machine.
    ("GET", "/metrics"): Rule(open=True),
    ("GET", "/static"): Rule(open=True),
    ("GET", "/fonts"): Rule(open=True),
    ("GET", "/sign-in"): Rule(open=True),
    ("POST", "/sign-in"): Rule(open=True),
    ("GET", "/sign-in/service"): Rule(open=True),
    ("GET", "/sign-in/service/back"): Rule(open=True),
    ("POST", "/sign-out"): Rule(ALL, start=True),
    ("GET", "/form-token"): Rule(ALL, start=True),
    ("GET", "/me"): Rule(ALL, start=True),
    ("POST", "/me/password"): Rule(ALL, start=True),
    ("POST", "/me/factor"): Rule(ALL),
    ("POST", "/me/tokens"): Rule(ALL),
    ("POST", "/me/service"): Rule(ALL),
    ("GET", "/"): Rule(ALL),
    ("GET", "/states"): Rule(ALL),
    ("GET", "/find"): Rule(ALL),
    ("GET", "/machines"): Rule(ALL),
    ("GET", "/machines/{machine}"): Rule(ALL, reads="machine {machine}"),
    ("GET", "/due"): Rule(ALL),
    ("POST", "/due/{follow_up:int}"): Rule(ALL),
    # The words hold for the hearing of the whole shop: they are settings.
    ("GET", "/words"): Rule(OWNER),
    ("POST", "/words"): Rule(OWNER),
    ("POST", "/uploads"): Rule(ALL, script=True),
    ("GET", "/uploads/{upload}"): Rule(ALL, script=True),
    ("PUT", "/uploads/{upload}"): Rule(ALL, script=True),
    ("POST", "/uploads/{upload}/done"): Rule(ALL, script=True),
    ("GET", "/jobs/{job}"): Rule(ALL, reads="page"),
    ("GET", "/jobs/{job}/state"): Rule(ALL),
    ("GET", "/jobs/{job}/work"): Rule(ALL, reads="page"),
    ("POST", "/jobs/{job}/edits"): Rule(ALL),
    ("POST", "/jobs/{job}/again"): Rule(ALL),
    ("POST", "/jobs/{job}/machine"): Rule(ALL),
    ("GET", "/jobs/{job}/sound/{number:int}"): Rule(ALL, reads="sound"),
    ("GET", "/jobs/{job}/strip/{number:int}"): Rule(ALL, reads="sound"),
    ("POST", "/jobs/{job}/pictures"): Rule(ALL),
    ("GET", "/jobs/{job}/pictures/{sha256}"): Rule(ALL, reads="picture"),
    ("GET", "/jobs/{job}/look"): Rule(ALL, reads="report"),
    ("GET", "/jobs/{job}/papers/{name}"): Rule(ALL),
    ("GET", "/jobs/{job}/sent/{paper}"): Rule(ALL, reads="sent {paper}"),
    ("POST", "/jobs/{job}/send"): Rule(ALL),
    ("POST", "/jobs/{job}/forget"): Rule(OWNER),
    ("POST", "/jobs/{job}/planned"): Rule(ALL),
    ("GET", "/plan"): Rule(OFFICE),
    ("POST", "/plan"): Rule(OFFICE),
    ("POST", "/plan/{line:int}"): Rule(OFFICE),
    ("GET", "/audit"): Rule(OWNER),
    ("GET", "/people"): Rule(OWNER),
    ("POST", "/people"): Rule(OWNER),
    ("POST", "/people/{person}"): Rule(OWNER),
}
"""Method and address, as the routes name them. A technician gets, of all that names a job, his own alone."""


@dataclass(frozen=True)
class Asked:
    """What a request asks for: its rule, the route's address, and the values in it."""

    rule: Rule
    path: str
    values: dict[str, Any]


def asked_of(routes: Iterable[BaseRoute], scope: MutableMapping[str, Any]) -> Asked | None:
    """The rule of a request; None when no route answers it."""
    method = "GET" if scope["method"] == "HEAD" else scope["method"]
    for route in routes:
        match, inner = route.matches(scope)
        if match is Match.FULL and isinstance(route, Route | Mount):
            rule = RULES.get((method, route.path), REFUSED)
            return Asked(rule, route.path, dict(inner.get("path_params", {})))
    return None


def may(user: User | None, rule: Rule) -> bool:
    """Whether a person of this role may do it at all; whose job it is about is asked besides."""
    return rule.open or (user is not None and user.role in rule.roles)


def may_go(user: User | None, path: str, method: str = "GET") -> bool:
    """Whether a link or button to this address is of use to a person."""
    return may(user, RULES.get((method, path), REFUSED))
