"""Tellings for tests: lines divided by " / " as a talk with what the extractors before found."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import Segment, Transcript
from extractors.passage import make_passage
from extractors.registry import Found
from extractors.talk import Talk

CASES = Path(__file__).parent / "cases"


def talk_of(telling: str) -> Talk:
    """A telling with its lines divided by " / "."""
    lines = telling.split(" / ")
    return Talk(make_passage(Transcript(segments=tuple(Segment(text=line, line=n) for n, line in enumerate(lines, 1)))))


def found_before(talk: Talk) -> Found:
    """What equipment, findings and actions say of a talk, for the extractors that need them."""
    from extractors.find import actions, equipment, findings

    found = Found()
    found.facts["equipment"] = equipment.find(talk, found)
    found.facts["findings"] = findings.find(talk, found)
    found.facts["actions"] = actions.find(talk, found)
    return found


def rows(name: str) -> list[Any]:
    """One parameter a telling of a table of cases."""
    table = tomllib.loads((CASES / f"{name}.toml").read_text(encoding="utf-8"))
    return [pytest.param(say, case, id=say[:60]) for case in table["case"] for say in case["say"]]


def phrasings(name: str) -> list[Any]:
    """One parameter a phrasing of a table of cases, with what it must give; `nothing` of a case must give nothing."""
    table = tomllib.loads((CASES / f"{name}.toml").read_text(encoding="utf-8"))
    return [
        pytest.param(say, want, id=say[:60])
        for case in table["case"]
        for say, want in [
            *((say, case["want"]) for say in case.get("say", ())),
            *((say, []) for say in case.get("nothing", ())),
        ]
    ]
