"""Edits laid over another draft than the one they were made for: heard again, read again, corrected words."""

from __future__ import annotations

import pytest
from app_drafts import draft, timed
from app_person import Person, reading

from pipeline.draft import Draft
from pipeline.edits import EditKind, TargetKind
from pipeline.edits_apply import apply, heard_on, replay
from pipeline.edits_make import make_fact, make_words, words_at


@pytest.fixture
def ann() -> Person:
    return Person(draft())


# A new hearing of the same sound


def test_edits_sit_on_a_new_hearing_whose_times_moved_and_whose_list_is_longer(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", value=24.9)
    ann.does(EditKind.ACCEPT, "r4")
    again = draft(timed(shift_s=0.3))
    first = again.readings[2].model_copy(update={"id": "r1", "subject": "condenser fan motor", "value": 1.1})
    renumbered = tuple(r.model_copy(update={"id": f"r{i + 2}"}) for i, r in enumerate(again.readings))
    again = again.model_copy(update={"readings": (first, *renumbered)})

    after = replay(again, ann.edits)
    assert after.conflicts == ()
    assert reading(after, "r3").value == 24.9
    assert after.marks["r5"].accepted
    assert reading(after, "r1") == first


def test_a_new_hearing_that_agrees_with_the_person_is_no_conflict(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", value=24.9)

    after = replay(draft(found=24.9), ann.edits)
    assert after.conflicts == ()
    assert reading(after, "r2").value == 24.9


@pytest.mark.parametrize("kind", [EditKind.CHANGE, EditKind.ACCEPT])
def test_a_new_hearing_with_a_third_figure_is_shown_and_the_persons_stays(ann: Person, kind: EditKind) -> None:
    ann.does(kind, "r2", **({"value": 24.9} if kind is EditKind.CHANGE else {}))
    mine = 24.9 if kind is EditKind.CHANGE else 21.9

    after = replay(draft(found=27.9), ann.edits)
    assert [(c.kind, c.machine, c.fact) for c in after.conflicts] == [("changed", "27.9", "r2")]
    assert reading(after, "r2").value == mine


@pytest.mark.parametrize(("keep", "value"), [("mine", 24.9), ("machine", 27.9)])
def test_a_decided_conflict_is_shown_no_more(ann: Person, keep: str, value: float) -> None:
    edit = ann.does(EditKind.CHANGE, "r2", value=24.9)
    ann.says(EditKind.SETTLE, keep=keep, edits=[edit.id], machine="27.9")

    after = replay(draft(found=27.9), ann.edits)
    assert after.conflicts == ()
    assert reading(after, "r2").value == value
    if keep == "mine":
        assert replay(draft(found=23.9), ann.edits).conflicts, "a fourth figure was never decided on"


def test_a_figure_that_the_new_hearing_lost_comes_back_with_a_conflict(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r3", value=8.6)
    ann.does(EditKind.CHANGE, "r3", place="start")
    machine = draft()
    lost = machine.model_copy(update={"readings": tuple(r for r in machine.readings if r.id != "r3")})

    after = replay(lost, ann.edits)
    assert [c.kind for c in after.conflicts] == ["gone"]
    kept = [r for r in after.draft.readings if r.subject == "compressor"]
    assert [(r.value, r.place, r.evidence.quote) for r in kept] == [
        (8.6, "start", "compressor is pulling 9.6 on common")
    ]


def test_taking_out_what_is_not_found_any_more_needs_nobody(ann: Person) -> None:
    ann.does(EditKind.DELETE, "r3")
    machine = draft()
    lost = machine.model_copy(update={"readings": tuple(r for r in machine.readings if r.id != "r3")})

    assert apply(lost, ann.edits) == (lost, ())


def test_an_added_fact_that_the_new_hearing_finds_by_itself_stands_once() -> None:
    machine = draft()
    without = machine.model_copy(update={"readings": machine.readings[:4]})
    ann = Person(without)
    fact = {
        "quantity": "temperature",
        "subject": "box",
        "role": "measured",
        "value": 38,
        "unit": "degF",
        "stage": "as_left",
    }
    evidence, _ = words_at(without, 7, 0, 4)
    ann.edits = (make_fact(without, "Ann", TargetKind.READING, fact, evidence),)
    assert len(ann.sees().draft.readings) == 5

    assert replay(machine, ann.edits).draft.readings == machine.readings


def test_a_listening_mark_does_not_cover_a_figure_that_was_heard_anew(ann: Person) -> None:
    ann.does(EditKind.HEARD, "r2")
    assert ann.sees().marks["r2"].heard
    assert replay(draft(timed(shift_s=0.2)), ann.edits).marks["r2"].heard

    assert not replay(draft(found=27.9), ann.edits).marks["r2"].heard


def test_facts_of_a_recording_that_left_the_job_are_reported_not_dropped(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", value=24.9)

    after = replay(draft(sha="b" * 64), ann.edits)
    assert [c.kind for c in after.conflicts] == ["gone"]
    assert "no longer in this job" in after.conflicts[0].message


def test_two_figures_of_one_breath_keep_their_own_edits() -> None:
    """Three legs said in one breath: 9.6, 9.8, 9.7."""
    spoken = timed(("legs nine six nine eight nine seven",))
    evidence, _ = words_at(Draft(transcript=spoken), 0, 0, 6)
    machine = draft().readings[2]
    legs = tuple(
        machine.model_copy(update={"id": f"r{i + 1}", "subject": f"L{i + 1}", "value": v, "evidence": evidence})
        for i, v in enumerate((9.6, 9.8, 9.7))
    )
    recordings = draft().recordings
    ann = Person(Draft(transcript=spoken, recordings=recordings, readings=legs))
    ann.does(EditKind.CHANGE, "r1", value=9.1)
    ann.does(EditKind.CHANGE, "r3", value=9.3)

    turned = tuple(r.model_copy(update={"id": f"r{i + 1}"}) for i, r in enumerate(reversed(legs)))
    after = replay(Draft(transcript=spoken, recordings=recordings, readings=turned), ann.edits)
    assert {r.subject: r.value for r in after.draft.readings} == {"L1": 9.1, "L2": 9.8, "L3": 9.3}
    assert after.conflicts == ()


# The transcript


def test_corrected_words_are_read_again_and_edits_survive(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r4", value=50.0)
    words = make_words(ann.machine, "Ann", 2, 13, 13, "24.9")
    ann.edits = (*ann.edits, words)

    def read(corrected: Draft) -> Draft:
        assert corrected.transcript.segments[2].text.endswith("I'm getting 24.9")
        assert corrected.transcript.segments[2].words[13].start == ann.machine.transcript.segments[2].words[13].start
        return draft(corrected.transcript, found=24.9)

    after = replay(ann.machine, ann.edits, read=read)
    assert reading(after, "r2").value == 24.9
    assert reading(after, "r4").value == 50.0
    assert after.conflicts == ()


def test_a_correction_of_words_that_a_new_hearing_wrote_otherwise_is_shown() -> None:
    machine = draft()
    words = make_words(machine, "Ann", 2, 13, 13, "24.9")

    changed, conflicts = apply(draft(found=27.9), (words,))
    assert [(c.kind, c.mine, c.machine) for c in conflicts] == [("changed", "24.9", "27.9")]
    assert changed.transcript.segments[2].words[13].text == "27.9"
    agreed, conflicts = apply(draft(found=24.9), (words,))
    assert conflicts == ()
    assert agreed == draft(found=24.9)


def test_one_word_may_become_three_within_its_time() -> None:
    machine = draft()
    after, _ = apply(machine, (make_words(machine, "Ann", 4, 3, 3, "fifty one point"),))

    words = after.transcript.segments[4].words
    assert [w.text for w in words[3:6]] == ["fifty", "one", "point"]
    was = machine.transcript.segments[4].words[3]
    assert (words[3].start, words[5].end) == (was.start, was.end)


def test_lines_without_times_are_corrected_by_their_line_and_place() -> None:
    segments = tuple(
        s.model_copy(update={"words": (), "start": None, "end": None, "line": i + 1})
        for i, s in enumerate(timed(("two two zero and two two nine", "two two zero")).segments)
    )
    machine = Draft(transcript={"segments": segments}, recordings=draft().recordings)
    after, conflicts = apply(machine, (make_words(machine, "Ann", 0, 4, 5, "two three"),))

    assert [s.text for s in after.transcript.segments] == ["two two zero and two three nine", "two two zero"]
    assert conflicts == ()


def test_listening_is_laid_on_by_itself_as_if_all_was_laid_over_anew() -> None:
    ann = Person(draft())
    ann.does(EditKind.CHANGE, "r3", value=8.6)
    for handle in ("r2", "r3", "equipment.serial", "f1"):
        before = ann.sees()
        edit = ann.does(EditKind.HEARD, handle)

        assert heard_on(before, edit) == replay(ann.machine, ann.edits)
