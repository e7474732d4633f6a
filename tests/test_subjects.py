"""What words name: sentences of our own from cases/subjects.toml, and no phrase under two subjects."""

from __future__ import annotations

import tomllib
from collections import defaultdict
from pathlib import Path

import pytest

from extractors.facts import Quantity, Segment, Transcript
from extractors.lexicon import load_table
from extractors.mentions import mentions
from extractors.passage import make_passage, split
from extractors.phrases import plural
from extractors.units import units

CASES = tomllib.loads((Path(__file__).parent / "cases" / "subjects.toml").read_text(encoding="utf-8"))
KINDS = {"supply", "machine", "switch", "refrigerant", "air", "gas", "water", "cabinet", "work"}


def named(sentence: str) -> list[str]:
    """The subjects that a sentence names, in order."""
    return [m.subject for m in mentions(make_passage(Transcript(segments=(Segment(text=sentence),))))]


def norm(phrase: str) -> str:
    """A phrase as the matcher sees it."""
    return " ".join(word for _, word, _, _, _ in split(phrase.lower()))


@pytest.mark.parametrize(("subject", "sentence"), [(c["subject"], s) for c in CASES["case"] for s in c["say"]])
def test_the_words_name_the_subject(subject: str, sentence: str) -> None:
    assert subject in named(sentence)


@pytest.mark.parametrize(("subject", "sentence"), [(c["not"], s) for c in CASES["near"] for s in c.get("say", ())])
def test_a_near_miss_does_not_name_it(subject: str, sentence: str) -> None:
    assert subject not in named(sentence)


@pytest.mark.parametrize("sentence", [s for c in CASES["near"] for s in c.get("nothing", ())])
def test_plain_talk_names_nothing(sentence: str) -> None:
    assert named(sentence) == []


def test_no_phrase_stands_under_two_subjects() -> None:
    owners: dict[str, set[str]] = defaultdict(set)
    for table in ("subjects", "shared_words"):
        for name, row in load_table(table).items():
            for phrase in (*row["say"], *row.get("misheard", ())):
                for form in (phrase, plural(phrase)):
                    owners[norm(form)].add(f"{table}: {name}")
    assert {phrase: names for phrase, names in owners.items() if len(names) > 1} == {}


def test_rows_of_subjects_are_sound() -> None:
    for name, row in load_table("subjects").items():
        assert row["kind"] in KINDS, name
        assert len(set(row["of"])) == len(row["of"]), name
        assert {Quantity(q) for q in row["of"]} or not row["of"], name
        for unit, (low, high) in row.get("usual", {}).items():
            assert unit in units() and low < high, name
        for quantity, unit in row.get("unit", {}).items():
            assert quantity in row["of"] and units()[unit].quantity == quantity, name


def test_shared_words_stand_for_known_subjects() -> None:
    known = load_table("subjects")
    for word, row in load_table("shared_words").items():
        assert set(row["may"]) <= set(known), word
        assert set(row["near"]) <= set(row["may"]), word
