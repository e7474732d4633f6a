"""What the words say about the state of components. Invented talk; common practice, no source."""

from __future__ import annotations

import pytest
from told import phrasings, talk_of

from extractors.claim import rows
from extractors.facts import Finding, FindingStatus, Stage, Transcript
from extractors.find.findings import find
from extractors.lexicon import load_table
from extractors.mentions import subjects
from extractors.passage import make_passage
from extractors.registry import Found
from extractors.talk import Talk
from extractors.things import groups


def found(telling: str) -> list[Finding]:
    return find(talk_of(telling), Found())


def told(telling: str) -> list[tuple[str, str, str]]:
    return [(one.component, one.condition.value, one.status.value) for one in found(telling)]


@pytest.mark.parametrize(("say", "want"), phrasings("findings"))
def test_a_state_is_told(say: str, want: list[list[str]]) -> None:
    assert sorted(told(say)) == sorted(tuple(one) for one in want)


@pytest.mark.parametrize(
    "say",
    [
        "the condenser fan motor is not running / okay, power is off and locked out",
        "the condenser fan motor is not running / the disconnect is pulled, locked out and tagged",
    ],
)
def test_a_locked_out_supply_is_no_tripped_control(say: str) -> None:
    assert not [one for one in told(say) if one[1] == "tripped"]


def test_a_locked_out_control_is_a_finding() -> None:
    assert ("compressor", "tripped", "observed") in told("the compressor is locked out")


def test_a_deed_not_done_clears_nothing() -> None:
    assert told("I'm leaving the system shut, not tapping a two ninety box with three ounces in it") == []


SUSPICION = "I'm thinking it might be the run capacitor / "


@pytest.mark.parametrize(
    ("rest", "want"),
    [
        ("nope, capacitor's fine", ("run capacitor", "failed", "ruled_out")),
        ("yeah, capacitor's weak", ("run capacitor", "weak", "observed")),
        ("gauges are on now", ("run capacitor", "failed", "suspected")),
    ],
    ids=["cleared", "proved", "left open"],
)
def test_a_suspicion_is_one_finding_with_its_last_status(rest: str, want: tuple[str, str, str]) -> None:
    assert told(SUSPICION + rest) == [want]


def test_a_trail_keeps_what_was_thought_before() -> None:
    (one,) = found(SUSPICION + "yeah, capacitor's weak")

    assert [(step.status, step.evidence.line) for step in one.trail] == [(FindingStatus.SUSPECTED, 1)]
    assert one.evidence.line == 2
    assert one.trail[0].evidence.quote in SUSPICION


def test_said_again_is_no_second_finding() -> None:
    say = "the condenser is filthy / fan runs / like I said condenser coil's dirty"

    assert [one for one in told(say) if one[1] == "dirty"] == [("condenser", "dirty", "observed")]


@pytest.mark.parametrize(
    "say",
    [
        "she says the compressor is leaking",
        "the manager told me the condenser fan was bad",
        "is the contactor burnt?",
        "if the belt was worn I'd change it",
        "the contactor was burnt last time I was here",
    ],
    ids=["her words", "his words", "a question", "an if", "an earlier visit"],
)
def test_what_the_speaker_did_not_find_is_no_finding(say: str) -> None:
    assert told(say) == []


def test_hearsay_counts_when_the_job_proves_it() -> None:
    say = "she says the drain pan is leaking / yep drain pan's leaking at the corner"

    assert told(say) == [("drain pan", "leaking", "observed")]


def test_it_is_what_was_spoken_of() -> None:
    say = "looked at the contactor / it's burnt / now the condenser fan motor / that's good"

    assert told(say) == [("contactor", "burnt", "observed"), ("condenser fan motor", "normal", "observed")]


def test_places_part_two_of_a_kind() -> None:
    say = "left evaporator fan is noisy / right evaporator fan is fine"

    assert [(one.place, one.condition.value) for one in found(say)] == [("left", "noisy"), ("right", "normal")]


@pytest.mark.parametrize(
    ("say", "want"),
    [
        ("belt is worn / changed the belt", Stage.AS_FOUND),
        ("changed the belt / belt was worn", Stage.AS_FOUND),
        ("replaced the contactor / belt is worn", Stage.AS_LEFT),
        ("replaced the contactor / belt is worn / cleaned the condenser", Stage.AS_FOUND),
        ("replaced the belt / fan is running now", Stage.AS_LEFT),
        ("belt is worn", Stage.AS_FOUND),
        ("pulled the panel / belt is worn", Stage.AS_FOUND),
    ],
    ids=[
        "before the work", "told after its mending", "seen after all work", "between two works", "good after the work",
        "no work", "a step on the way",
    ],
)  # fmt: skip
def test_stage(say: str, want: Stage) -> None:
    stages = {one.stage for one in found(say)}

    assert stages == {want}


def test_ids_count_up_and_quotes_stand_in_the_talk() -> None:
    lines = ["the condenser coil is filthy", "contactor's pitted and the belt is worn", "could be the txv"]
    made = found(" / ".join(lines))

    assert [one.id for one in made] == ["f1", "f2", "f3", "f4"]
    assert all(one.evidence.quote in lines[(one.evidence.line or 0) - 1] for one in made)


def test_silence_has_no_findings() -> None:
    assert find(Talk(make_passage(Transcript())), Found()) == []


def test_rows_of_the_table_speak_of_known_components() -> None:
    known = set(subjects()) | set(groups()) | set(groups()["noun"])
    for row in load_table("conditions")["row"]:
        unknown = {*row.get("fits", ()), *row.get("about", ()), row.get("component", "unit")} - known

        assert unknown == set(), row["say"][:3]


def test_no_phrase_stands_twice_for_the_same_components() -> None:
    seen: set[tuple[object, ...]] = set()
    for row, entry in zip(rows(), load_table("conditions")["row"], strict=True):
        for phrase in entry["say"]:
            key = (phrase, row.fits, row.kind, row.only_denied)

            assert key not in seen, phrase
            seen.add(key)
