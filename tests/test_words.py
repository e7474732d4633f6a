"""The catalogues: complete for the contract, alike key by key, with the same places to fill, and all in use."""

from __future__ import annotations

import re
import string
import tomllib
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import (
    ActionKind,
    ActionStatus,
    Condition,
    FindingStatus,
    PartStatus,
    Qualifier,
    Quantity,
    Rating,
    Role,
    Stage,
    UnplacedReason,
)
from extractors.units import units
from pipeline.draft import Verdict
from pipeline.errors import AuthoringError
from pipeline.words import DEFAULT, languages, load_words

ROOT = Path(__file__).parents[1]
REASONS = (
    "low confidence", "heard differently", "unit not said", "subject unclear", "outside usual range", "decimal point",
    "teen or ty", "corrected twice", "speaker not sure", "may be rated", "may be measured", "does not fit",
)  # fmt: skip
SUBJECTS = (
    "line", "L1-L2", "L2-L3", "L1-L3", "L1", "L2", "L3", "neutral", "ground", "control circuit", "transformer",
    "breaker", "fuse", "power cord", "power switch", "wiring", "disconnect", "unit", "compressor",
    "condenser fan motor", "evaporator fan motor", "blower motor", "inducer motor", "pump", "drain heater",
    "defrost heater", "crankcase heater", "door heater", "heating element", "start capacitor", "run capacitor",
    "start relay", "contactor", "overload", "relay", "time delay", "defrost timer", "thermostat", "controller",
    "control board", "pressure switch", "limit switch", "door switch", "float switch", "sensor", "display",
    "suction line", "discharge line", "liquid line", "suction pressure", "head pressure", "superheat",
    "subcooling", "refrigerant charge", "filter drier", "expansion valve", "capillary tube", "reversing valve",
    "solenoid valve", "sight glass", "receiver", "system", "condenser", "evaporator", "box", "product", "ambient",
    "supply air", "return air", "air filter", "duct", "gas supply", "manifold", "burner", "flame sensor",
    "igniter", "gas valve", "heat exchanger", "flue", "inlet water", "drain", "drain pan", "water filter",
    "water valve", "ice bin", "float valve", "door", "door gasket", "hinge", "light", "casing", "run time",
    "travel", "labor",
)  # fmt: skip
"""The vocabulary of subjects; any other noun stands on paper as it was said."""
CONTRACT = {
    "quantity": [one.value for one in Quantity],
    "role": [one.value for one in Role],
    "stage": [one.value for one in Stage],
    "qualifier": [one.value for one in Qualifier],
    "rating": [one.value for one in Rating],
    "measured": [one.value for one in Quantity],
    "condition": [one.value for one in Condition],
    "action": [one.value for one in ActionKind],
    "unplaced": [one.value for one in UnplacedReason],
    "verdict": [one.value for one in Verdict],
    "key": [one.value for one in Verdict],
    "status": [one.value for group in (FindingStatus, ActionStatus, PartStatus) for one in group],
    "unit": list(units()),
    "reason": list(REASONS),
    "component": list(SUBJECTS),
}


def flat(table: dict[str, Any], before: str = "") -> dict[str, Any]:
    keys: dict[str, Any] = {}
    for name, value in table.items():
        if isinstance(value, dict):
            keys |= flat(value, f"{before}{name}.")
        else:
            keys[before + name] = value
    return keys


def fields(pattern: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(pattern) if name}


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("section", CONTRACT)
def test_every_word_of_the_contract_has_words(language: str, section: str) -> None:
    missing = [name for name in CONTRACT[section] if name not in load_words(language).table[section]]

    assert missing == []


@pytest.mark.parametrize("language", [name for name in languages() if name != DEFAULT])
def test_catalogues_are_alike(language: str) -> None:
    english, other = flat(load_words().table), flat(load_words(language).table)

    def plural(key: str) -> bool:
        # English may say one and many alike, and needs no translation of the draft's sentences.
        return (key.startswith("condition.") and key.endswith(".many")) or key.startswith(("translated.", "asked."))

    assert {key for key in english if not plural(key)} == {key for key in other if not plural(key)}
    for key, pattern in english.items():
        if isinstance(pattern, str) and key in other:
            assert fields(pattern) == fields(other[key]), key


@pytest.mark.parametrize("language", [name for name in languages() if name != DEFAULT])
def test_every_safety_note_is_translated(language: str) -> None:
    rows = tomllib.loads((ROOT / "pipeline" / "cautions.toml").read_text(encoding="utf-8"))["caution"]
    missing = [row["text"] for row in rows if row["text"] not in load_words(language).table["translated"]]

    assert missing == []


@pytest.mark.parametrize("language", [name for name in languages() if name != DEFAULT])
def test_every_question_is_translated(language: str) -> None:
    rows = tomllib.loads((ROOT / "pipeline" / "gaps.toml").read_text(encoding="utf-8"))
    fields = [name for name, row in rows.items() if "question" in row or name == "reading"]

    assert set(fields) - {"part_unnamed"} <= set(load_words(language).table["asked"])


@pytest.mark.parametrize("language", languages())
def test_no_word_on_paper_looks_like_code(language: str) -> None:
    for key, words in flat(load_words(language).table).items():
        if isinstance(words, str):
            assert not re.search(r"[a-z]_[a-z]", re.sub(r"\{\w+\}", "", words)), key


def test_every_key_is_used() -> None:
    folders = [ROOT / "pipeline" / "render", ROOT / "pipeline" / "words", ROOT / "templates"]
    files = [path for folder in folders for path in folder.glob("*") if path.suffix in (".py", ".j2")]
    source = "".join(path.read_text(encoding="utf-8") for path in [*files, ROOT / "pipeline" / "summary.py"])
    by_vocabulary = {*CONTRACT, "language", "basis", "date", "recorded"}
    unused = []
    for key in flat(load_words().table):
        section, _, name = key.partition(".")
        if section not in by_vocabulary and name not in source and re.sub(r"_(one|many)$", "", name) not in source:
            unused.append(key)

    assert unused == []


def test_missing_words_name_the_catalogue_and_the_key() -> None:
    with pytest.raises(AuthoringError, match=r"en\.toml has no words for 'heading\.nowhere'"):
        load_words()("heading.nowhere")


def test_wrong_filling_names_what_can_be_filled() -> None:
    with pytest.raises(AuthoringError, match="cannot be filled"):
        load_words()("phrase.from_to", was="1")


def test_spanish_contracts_article_and_preposition() -> None:
    words = load_words("es")

    assert words("measured.temperature", the="el evaporador") == "la temperatura del evaporador"


def test_noun_without_words_of_its_own_stands_as_it_was_said() -> None:
    assert load_words().term("widget").the == "the widget"
    assert load_words("es").term("widget").the == "«widget»"
