"""The stage that judges: fills a draft's checks and trends, and asks about figures that cannot be right."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any, Protocol

from pipeline.draft import Draft, Problem


class ShopSettings(Protocol):
    """What this stage reads of a shop's settings."""

    @property
    def altitude_ft(self) -> float | None:
        """Height of the shop's sites in feet."""

    @property
    def limits(self) -> Mapping[str, Mapping[str, Any]]:
        """The shop's own limits, rule by rule."""

    @property
    def folder(self) -> Path | None:
        """Where the shop's file lies, to name the line of a wrong limit."""


def check(
    draft: Draft,
    *,
    altitude_ft: float | None = None,
    shop: ShopSettings | None = None,
    answered: Mapping[str, Collection[str]] | None = None,
) -> Draft:
    """The draft with `checks`, `trends` and the gates' `confirm` and `alternatives` of readings filled.

    `altitude_ft` of the site goes before the shop's. `answered`: by reading id, the reasons (without what follows
    their colon) that a person has settled; the gates do not ask them again. A rule that raises is noted in `problems`,
    and the draft is then partial. Raises InputError for a shop's limit that no rule has.
    """
    from pipeline.checks.engine import run
    from pipeline.checks.gates import ask
    from pipeline.checks.job import Job
    from pipeline.checks.overrides import limits_for
    from pipeline.checks.registry import discover
    from pipeline.checks.trends import trends

    height = altitude_ft if altitude_ft is not None else shop.altitude_ft if shop else None
    series = trends(draft)
    file = shop.folder / "shop.toml" if shop and shop.folder else None
    limits = limits_for(shop.limits if shop else {}, file)
    draft = ask(Job(draft, height, limits, series), answered or {})
    problems: list[Problem] = []

    def failed(rule: str, fault: Exception) -> None:
        message = f"The rule {rule} could not be run ({type(fault).__name__}: {fault})."
        problems.append(Problem(stage="check", code="rule-failed", message=message))

    checks = run(Job(draft, height, limits, series), discover(), failed)
    update: dict[str, Any] = {"checks": checks, "trends": series}
    if problems:
        update |= {"problems": (*draft.problems, *problems), "status": "partial"}
    return draft.model_copy(update=update)
