"""Files every figure: the likeliest subject, quantity, unit and role by learned weights that anybody can read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache

from extractors.facts import Quantity, Role
from extractors.features import Candidate, Filing, candidates
from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.meant import REMEMBERED, SUPPLY, Story
from extractors.mentions import subjects
from extractors.quantity_signs import quantity_signs
from extractors.reading_signs import reading_signs
from extractors.role_signs import role_signs
from extractors.scene import Scene, quantity_rows
from extractors.units import convert, units

WORTH_OFFERING = 0.03
"""Share from which another quantity is offered beside a doubtful one."""


@dataclass(frozen=True, slots=True)
class Filed:
    """A figure with the filing that won, how sure that is, and what was refused beside it."""

    index: int
    figure: Figure
    filing: Filing
    role: Role
    subject_share: float
    """Probability that subject and quantity are right, by the weights."""
    role_share: float
    rival: Filing | None = None
    """The likeliest filing with another subject."""
    second_role: Role | None = None
    rival_quantities: tuple[Filing, ...] = ()
    """The likeliest filings of other quantities or units."""
    refused: tuple[tuple[str, float], ...] = field(default=())


@cache
def weights() -> Mapping[str, float]:
    """Sign to weight, as learned by tests/benchmarks/learn_weights.py."""
    table: dict[str, float] = load_table("weights")["weights"]
    return table


def score(signs: tuple[str, ...], table: Mapping[str, float]) -> float:
    """The sum of the weights of some signs; a sign that was never learned weighs nothing."""
    return sum(table.get(sign, 0.0) for sign in signs)


def shares(scores: list[float]) -> list[float]:
    """Scores as probabilities."""
    top = max(scores)
    grown = [math.exp(s - top) for s in scores]
    total = sum(grown)
    return [g / total for g in grown]


def choose_value(figure: Figure, filing: Filing) -> tuple[Figure, bool]:
    """The figure with the value that its subject admits; True where the other way to hear it was taken."""
    if figure.value is None or not figure.also or filing.subject is None or filing.unit is None:
        return figure, False
    assert filing.quantity is not None
    if figure.form == "clock" and filing.quantity is Quantity.DURATION and not figure.units:
        return replace(figure, value=figure.also[1], also=(figure.value,)), False

    def usual(value: float) -> int:
        row = quantity_rows()[filing.quantity]  # type: ignore[index]
        known = subjects().get(filing.subject or "")
        bounds = [(unit, low, high) for unit, low, high in (known.usual if known else ())]
        if filing.quantity == "voltage" and filing.subject != "flame sensor":
            good = any(low <= value <= high for low, high in SUPPLY)
            return 2 if good else 1 if 0.01 <= value <= 700 else 0
        for unit, low, high in bounds:
            if units()[unit].dimension == units()[filing.unit or ""].dimension:
                return 2 if low <= convert(value, filing.unit or "", unit) <= high else 0
        if filing.quantity == "current":
            return 2 if value <= 60 else 1
        if row.unit and units()[row.unit].dimension == units()[filing.unit or ""].dimension:
            return 2 if row.low <= convert(value, filing.unit or "", row.unit) <= row.high else 0
        return 1

    first = usual(figure.value)
    for other in figure.also:
        if usual(other) > first:
            return replace(figure, value=other, also=(figure.value,)), True
    return figure, False


def remember(story: Story, filed_figure: Figure, filing: Filing, role: Role) -> None:
    """Notes what was filed, for the figures that follow."""
    assert filing.subject is not None and filing.quantity is not None
    story.subject, story.quantity, story.unit, story.role = filing.subject, filing.quantity, filing.unit, role
    story.figure, story.mention, story.where = filed_figure, filing.mention, filing.where
    story.by_quantity[filing.quantity] = filing.subject
    if filing.quantity in (Quantity.TEMPERATURE, Quantity.PRESSURE, Quantity.TEMPERATURE_DIFFERENCE) and role in (
        Role.MEASURED,
    ):
        story.series = (filing.subject, filing.quantity)
    if filing.unit:
        story.units[(filing.subject, filing.quantity)] = filing.unit
    story.lately = [(filed_figure, filing.subject, filing.quantity), *story.lately][:REMEMBERED]
    story.recent = [filing.subject, *[s for s in story.recent if s != filing.subject]][:4]


def file_one(scene: Scene, index: int, story: Story, table: Mapping[str, float]) -> Filed:
    """Files one figure after all before it."""
    figure = scene.figures[index]
    by_quantity = quantity_signs(scene, index, figure, story)
    parts = shares([score(signs, table) for _, signs in by_quantity])
    open_ones = sorted(zip(parts, (q for q, _ in by_quantity), strict=True), key=lambda p: -p[0])[:3]
    ways: list[tuple[float, Filing]] = []
    first: list[Candidate] = []
    for part, quantity in open_ones:
        if part < 0.02 and ways:
            continue
        found = candidates(scene, index, figure, story, quantity)
        first = first or found
        chances = shares([score(c.signs, table) for c in found])
        ways += [
            (part * p, Filing(c.subject, quantity, c.unit, c.mention, c.where))
            for p, c in zip(chances, found, strict=True)
        ]
    chance = 1 / (1 + math.exp(-score(reading_signs(scene, index, figure, first, story), table)))
    if not ways or chance < 0.5:
        return Filed(index, figure, Filing(None), Role.MEASURED, 1 - chance, 1.0)
    ways.sort(key=lambda way: -way[0])
    share, best = ways[0][0] * chance, ways[0][1]
    rival = next((w for p, w in ways[1:] if w.subject != best.subject), None)
    others: dict[tuple[Quantity | None, str | None], Filing] = {}
    for p, way in ways[1:]:
        if (way.quantity, way.unit) != (best.quantity, best.unit) and p > WORTH_OFFERING:
            others.setdefault((way.quantity, way.unit), way)
    refused = tuple((f"{w.subject}, {w.quantity}", round(p, 3)) for p, w in ways[1:4] if p > 0.02)
    by_role = role_signs(scene, index, best, story)
    never = load_table("roles")["never_rated"]["subjects"]
    names = [role for role in by_role if role is not Role.RATED or best.subject not in never]
    role_chances = shares([score(by_role[name], table) for name in names])
    order = sorted(zip(role_chances, names, strict=True), reverse=True)
    role, role_share, second = order[0][1], order[0][0], order[1][1]
    return Filed(index, figure, best, role, share, role_share, rival, second, tuple(others.values())[:3], refused)


def file_all(scene: Scene, table: Mapping[str, float] | None = None) -> list[Filed]:
    """Files all figures of a scene that are not plainly something else, in order."""
    table = weights() if table is None else table
    story = Story()
    out: list[Filed] = []
    for index, figure in enumerate(scene.figures):
        aside = scene.asides.get(index)
        if scene.is_used(figure) or (aside is not None and not aside.weak) or figure.form.startswith("tolerance"):
            continue
        filed = file_one(scene, index, story, table)
        out.append(filed)
        if filed.filing.subject is not None:
            remember(story, figure, filed.filing, filed.role)
    return out
