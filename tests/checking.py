"""Builds jobs for the tests of the checks from one line a reading.

`measured current | compressor | 9.4 A | stage=as_left place=left rating=RLA of=CO q=inrush,peak tol=6,6 at=120`
"""

from __future__ import annotations

from typing import Any

import pytest

from extractors.facts import (
    Action,
    Equipment,
    Evidence,
    Finding,
    Quantity,
    Reading,
    Role,
    Said,
)
from pipeline.checks import check
from pipeline.draft import Check, Draft

OPTIONS = ("stage", "place", "rating", "of", "q", "tol", "at", "line", "quote", "confirm", "superseded")


def reading(number: int, text: str) -> Reading:
    """One reading from its line. An underscore in a place or quote is a space."""
    head, subject, figure, *rest = (part.strip() for part in text.split("|"))
    role, quantity = head.split()
    value, _, unit = figure.partition(" ")
    low, _, high = value.partition("..")
    given = dict(part.split("=", 1) for part in (rest[0].split() if rest else ()))
    assert set(given) <= set(OPTIONS), given
    spaced = {key: given[key].replace("_", " ") for key in ("place", "quote", "confirm") if key in given}
    at = float(given["at"]) if "at" in given else None
    line = int(given["line"]) if "line" in given else None
    return Reading(
        id=f"r{number}",
        quantity=Quantity(quantity),
        subject=subject,
        role=Role(role),
        value=None if high else float(low),
        low=float(low) if high else None,
        high=float(high) if high else None,
        unit=unit or None,
        place=spaced.get("place"),
        stage=given.get("stage"),
        rating=given.get("rating"),
        of=given.get("of"),
        qualifiers=tuple(given["q"].split(",")) if "q" in given else (),
        tolerance_pct=tuple(float(one) for one in given["tol"].split(",")) if "tol" in given else None,
        at=at,
        evidence=Evidence(quote=spaced.get("quote", ""), start=at, line=line),
        confirm=(spaced["confirm"],) if "confirm" in spaced else (),
        superseded_by=given.get("superseded"),
    )


def job(*rows: str, machine: str = "", refrigerant: str = "", **more: Any) -> Draft:
    """A draft of readings, one a row, on a machine with a refrigerant."""
    return Draft(
        equipment=Equipment(
            type=Said(value=machine) if machine else None,
            refrigerant=Said(value=refrigerant) if refrigerant else None,
        ),
        readings=tuple(reading(number, row) for number, row in enumerate(rows, start=1)),
        **more,
    )


def action(kind: str, component: str, at: float | None = None, *, line: int | None = None, **more: Any) -> Action:
    """Work that was done on a component."""
    fields = {"id": f"a{at or line or 0:g}", "status": "done", "text": f"{component} {kind}", **more}
    return Action(
        action=kind, component=component, evidence=Evidence(quote=fields["text"], start=at, line=line), at=at, **fields
    )


def finding(component: str, condition: str, **more: Any) -> Finding:
    """What was found about a component."""
    fields = {"id": "f1", "status": "observed", "text": f"{component} {condition}", **more}
    return Finding(component=component, condition=condition, evidence=Evidence(quote=fields["text"]), **fields)


def of_rule(draft: Draft, rule: str, **options: Any) -> list[Check]:
    """The checks of one rule."""
    return [one for one in check(draft, **options).checks if one.rule == rule]


def only(draft: Draft, rule: str, **options: Any) -> Check:
    """The one check of a rule."""
    found = of_rule(draft, rule, **options)
    assert len(found) == 1, [one.message for one in found]
    return found[0]


VERDICTS = ("in_tolerance", "marginal", "out_of_tolerance", "no_reference")
SHORT = dict(zip(("in", "marginal", "out", "none"), VERDICTS, strict=True))


def cases(names: str, table: str) -> Any:
    """Runs a test for each row of a table; rows end in `;`, cells in commas, `-` is None, verdicts are short."""
    rows = [row.strip() for row in table.split(";") if row.strip()]
    keys = [name.strip() for name in names.split(",")]
    values = [tuple(_cell(cell.strip()) for cell in row.split(",")) for row in rows]
    assert all(len(value) == len(keys) for value in values), table
    return pytest.mark.parametrize(keys, values, ids=["".join(row.split()) for row in rows])


def _cell(text: str) -> Any:
    if text in SHORT:
        return SHORT[text]
    if text == "-":
        return None
    try:
        return float(text) if "." in text else int(text)
    except ValueError:
        return text


IN, MARGINAL, OUT, NONE = VERDICTS


def held(draft: Draft, rule: str, verdict: str, value: float | None = None, **options: Any) -> Check:
    """Asserts the verdict of the one check of a rule, and its value to the digits given."""
    found = only(draft, rule, **options)
    assert found.verdict.value == verdict, found.message
    if value is not None:
        assert found.value == pytest.approx(value, abs=0.006 * max(1, abs(value) / 100))
    return found
