"""Work that is done, planned or advised. Invented talk; common practice, no source."""

from __future__ import annotations

import pytest
from told import phrasings, talk_of

from extractors.facts import Action, ActionKind, ActionStatus, Transcript
from extractors.find.actions import find
from extractors.lexicon import load_table
from extractors.mentions import subjects
from extractors.passage import make_passage
from extractors.registry import Found
from extractors.talk import Talk
from extractors.things import groups


def found(telling: str) -> list[Action]:
    return find(talk_of(telling), Found())


def told(telling: str) -> list[tuple[str, str, str]]:
    return [(one.action.value, one.component, one.status.value) for one in found(telling)]


@pytest.mark.parametrize(("say", "want"), phrasings("actions"))
def test_work_is_told(say: str, want: list[list[str]]) -> None:
    assert sorted(told(say)) == sorted(tuple(one) for one in want)


def test_every_kind_of_work_has_its_phrasings() -> None:
    wanted = {want[0] for parameter in phrasings("actions") for want in list(parameter.values[1])}

    assert wanted == {kind.value for kind in ActionKind}


def test_a_plan_that_was_carried_out_is_one_entry_with_the_words_of_the_doing() -> None:
    (one,) = found("I'm gonna change that contactor / meter says it's open / okay new contactor's in")

    assert (one.action, one.status, one.evidence.line) == (ActionKind.REPLACED, ActionStatus.DONE, 3)


def test_a_plan_for_another_day_stays_one() -> None:
    talk = "cleaned the condenser / checked the belt / I'll come back next week and replace the contactor"

    assert ("replaced", "contactor", "planned") in told(talk)


def test_a_plan_for_now_whose_doing_nobody_told_is_for_the_reviewer() -> None:
    talk = (
        "I'm going to change the contactor now / fan's running / box is at forty / temps are good / all set here / bye"
    )
    (one,) = [action for action in found(talk) if action.action is ActionKind.REPLACED]

    assert one.status is ActionStatus.DONE
    assert one.confirm == ("speaker not sure: told as a plan, its doing was not told",)


def test_a_removal_is_part_of_the_replacement() -> None:
    assert told("pulled the old contactor out / put the new contactor in") == [("replaced", "contactor", "done")]


def test_said_again_is_no_second_entry() -> None:
    assert told("replaced the contactor / so again I replaced the contactor") == [("replaced", "contactor", "done")]


@pytest.mark.parametrize(
    "say",
    [
        "the last guy replaced the contactor",
        "she said they changed the belt in march",
        "the owner cleaned the condenser himself",
        "did you replace the contactor?",
        "if I replaced the contactor it would run",
        "I didn't replace the contactor",
    ],
    ids=["the one before", "her words", "the owner", "a question", "an if", "not done"],
)
def test_what_the_speaker_did_not_do_is_no_work_of_his(say: str) -> None:
    assert told(say) == []


def test_it_is_what_was_spoken_of() -> None:
    talk = "condenser's plugged with lint / washed it out / contactor's burnt / changed it"

    assert told(talk) == [("cleaned", "condenser", "done"), ("replaced", "contactor", "done")]


def test_the_new_one_is_what_was_faulty() -> None:
    assert told("condenser fan motor is seized / new one's in") == [("replaced", "condenser fan motor", "done")]


def test_readings_are_told_where_the_machine_was_changed() -> None:
    before = Found()
    talk = talk_of("looked at the contactor / replaced the contactor / started it up / cleaned the condenser")
    find(talk, before)

    assert [talk.passage.tokens[token].norm for token in before.deeds] == ["replaced", "cleaned"]


def test_ids_count_up_and_quotes_stand_in_the_talk() -> None:
    lines = ["cleaned the condenser", "swapped out the contactor and tightened the belt", "told her to order a gasket"]
    made = found(" / ".join(lines))

    assert [one.id for one in made] == [f"a{number}" for number in range(1, len(made) + 1)]
    assert len(made) >= 4
    assert all(one.evidence.quote in lines[(one.evidence.line or 0) - 1] for one in made)


def test_silence_has_no_work() -> None:
    assert find(Talk(make_passage(Transcript())), Found()) == []


def test_rows_of_the_table_speak_of_known_components_and_kinds() -> None:
    known = set(subjects()) | set(groups()) | set(groups()["noun"])
    kinds = {kind.value for kind in ActionKind}
    for row in load_table("actions")["row"]:
        assert row["action"] in kinds
        assert {*row.get("fits", ()), row.get("component", "unit")} - known == set(), row["say"][:3]
        assert row.get("needs", "name") in ("name", "object", "mass", "volume", "vacuum")


def test_small_words_of_the_grammar_are_read_by_the_program() -> None:
    from pathlib import Path

    import extractors

    source = "".join(path.read_text(encoding="utf-8") for path in Path(extractors.__file__).parent.rglob("*.py"))

    assert [name for name in load_table("grammar") if f'"{name}"' not in source] == []


def test_the_charge_of_a_plate_was_not_added() -> None:
    plate = "tag on the inside says R290, charge three point two ounces, four point one amps full load"
    assert told(plate) == []
    assert told("put in the charge, three point two ounces") == [("charged", "refrigerant charge", "done")]
