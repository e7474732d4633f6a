"""Edits: addressed by evidence, replayed over any draft, nothing that a person set is ever dropped in silence."""

from __future__ import annotations

import pytest
from app_drafts import LINES, draft, timed
from hypothesis import given
from hypothesis import strategies as st

from extractors.facts import Reading
from pipeline.draft import Draft
from pipeline.edits import (
    Edit,
    EditKind,
    Target,
    TargetKind,
    dump_edits,
    effective,
    load_edits,
    new_edit,
    review_state,
    to_redo,
    to_undo,
)
from pipeline.edits_apply import Replayed, apply, replay
from pipeline.edits_make import make_edit, make_fact, make_words, words_at
from pipeline.errors import InputError, StoreError


class Person:
    """Somebody who edits a draft, one thing after another."""

    def __init__(self, machine: Draft, who: str = "Ann") -> None:
        self.machine, self.who, self.edits = machine, who, ()

    def sees(self) -> Replayed:
        return replay(self.machine, self.edits)

    def does(self, kind: EditKind, handle: str, **now: object) -> Edit:
        edit = make_edit(self.sees(), self.who, kind, handle, now)
        self.edits = (*self.edits, edit)
        return edit

    def says(self, kind: EditKind, **now: object) -> None:
        self.edits = (*self.edits, new_edit(self.who, kind, Target(kind=TargetKind.JOB), now=now))


@pytest.fixture
def ann() -> Person:
    return Person(draft())


def reading(replayed: Replayed, reading_id: str) -> Reading:
    return replayed.draft.reading(reading_id)


def test_no_edits_change_nothing(ann: Person) -> None:
    assert apply(ann.machine, ()) == (ann.machine, ())


def test_a_typed_value_answers_the_doubt_about_it_and_says_who(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", value=24.9)

    r2 = reading(ann.sees(), "r2")
    assert (r2.value, r2.unit, r2.confirm) == (24.9, "uF", ())
    assert "Ann changed value from 21.9 to 24.9" in r2.because[-1]
    assert ann.machine.reading("r2").value == 21.9


def test_another_unit_leaves_the_doubt_about_the_value(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", unit="A")

    assert reading(ann.sees(), "r2").confirm == ("heard differently: 29.9 the second time",)


def test_a_chosen_alternative_becomes_the_figure(ann: Person) -> None:
    ann.does(EditKind.CHOOSE, "r2", choice=0)

    r2 = reading(ann.sees(), "r2")
    assert (r2.value, r2.unit, r2.confirm, r2.alternatives) == (29.9, "uF", (), ())


def test_an_accepted_figure_stands_without_its_doubt_even_when_a_check_raises_it_again(ann: Person) -> None:
    ann.does(EditKind.ACCEPT, "r2")

    def doubting(draft: Draft) -> Draft:
        again = [
            r.model_copy(update={"confirm": ("heard differently: 29.9", "does not fit: too low")})
            if r.id == "r2"
            else r
            for r in draft.readings
        ]
        return draft.model_copy(update={"readings": tuple(again)})

    r2 = reading(replay(ann.machine, ann.edits, finish=doubting), "r2")
    assert r2.confirm == ("does not fit: too low",), "a doubt that nobody has seen yet must be shown"


def test_a_range_takes_the_place_of_a_value(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r3", low=9.0, high=9.6)

    r3 = reading(ann.sees(), "r3")
    assert (r3.value, r3.low, r3.high) == (None, 9.0, 9.6)


@pytest.mark.parametrize(
    "now",
    [
        {"value": "warm"},
        {"unit": 4, "value": None},
        {"role": "guessed"},
        {"id": "r9"},
        {"colour": "red"},
        {"low": 5.0},
        {"low": 9.0, "high": 2.0},
    ],
    ids=str,
)
def test_a_value_that_cannot_be_is_refused_with_a_sentence(ann: Person, now: dict[str, object]) -> None:
    with pytest.raises(InputError):
        ann.does(EditKind.CHANGE, "r3", **now)


def test_a_figure_taken_out_is_still_listed_as_heard(ann: Person) -> None:
    ann.does(EditKind.DELETE, "r3", reason="said by others")

    after = ann.sees().draft
    assert [r.id for r in after.readings] == ["r1", "r2", "r4", "r5"]
    assert ("said by others", "compressor is pulling 9.6 on common") in [
        (u.reason, u.evidence.quote) for u in after.unplaced
    ]


def test_a_figure_whose_correction_is_taken_out_counts_again_and_says_so() -> None:
    machine = draft()
    earlier = machine.readings[3].model_copy(update={"superseded_by": "r5"})
    ann = Person(machine.model_copy(update={"readings": (*machine.readings[:3], earlier, machine.readings[4])}))
    ann.does(EditKind.DELETE, "r5")

    r4 = reading(ann.sees(), "r4")
    assert r4.superseded_by is None
    assert r4.confirm[0].startswith("corrected twice")


def test_a_reading_is_made_of_chosen_words_and_leaves_the_unplaced() -> None:
    ann = Person(draft())
    evidence, _ = words_at(ann.machine, 8, 0, 1)
    assert evidence.quote == "four screws"
    fact = {"quantity": "count", "subject": "casing", "role": "measured", "value": 4}
    ann.edits = (make_fact(ann.machine, "Ann", TargetKind.READING, fact, evidence, unplaced=True),)

    after = ann.sees()
    r6 = reading(after, "r6")
    assert (r6.subject, r6.value, r6.evidence.quote) == ("casing", 4, "four screws")
    assert after.draft.unplaced == ()
    assert "added from the words by Ann" in r6.because[0]


def test_what_nobody_said_stands_with_empty_words() -> None:
    ann = Person(draft())
    fact = {"description": "door gasket", "component": "door gasket", "status": "to_order"}
    ann.edits = (make_fact(ann.machine, "Ann", TargetKind.PART, fact, None),)

    part = ann.sees().draft.parts[-1]
    assert (part.id, part.evidence.quote) == ("p2", "")
    assert "without words" in part.because[0]


def test_an_added_fact_can_be_changed_and_taken_out(ann: Person) -> None:
    fact = {"description": "door gasket", "component": "door gasket", "status": "to_order"}
    ann.edits = (make_fact(ann.machine, "Ann", TargetKind.PART, fact, None),)
    ann.does(EditKind.CHANGE, "p2", quantity=2)
    assert ann.sees().draft.parts[-1].quantity == 2
    ann.does(EditKind.DELETE, "p2")

    assert [part.id for part in ann.sees().draft.parts] == ["p1"]
    assert ann.sees().conflicts == ()


@pytest.mark.parametrize(
    ("handle", "value"),
    [("equipment.refrigerant", "R-290"), ("visit.customer", "Feed store"), ("equipment.serial", "K47-2299")],
)
def test_an_answered_gap_is_a_given_field(ann: Person, handle: str, value: str) -> None:
    ann.does(EditKind.ANSWER, handle, value=value)

    group, name = handle.split(".")
    field = getattr(getattr(ann.sees().draft, group), name)
    assert (field.value, field.given, field.confirm) == (value, True, ())


def test_a_spelled_serial_is_accepted(ann: Person) -> None:
    ann.does(EditKind.ACCEPT, "equipment.serial")

    serial = ann.sees().draft.equipment.serial
    assert serial is not None
    assert (serial.value, serial.confirm, serial.given) == ("K47-2209", (), False)


def test_the_complaint_is_reworded_and_keeps_its_sound(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "complaint", text="Box is warm since Monday")

    complaint = ann.sees().draft.complaint
    assert complaint is not None
    assert complaint.text == "Box is warm since Monday"
    assert complaint.evidence == ann.machine.complaint.evidence


def test_a_waived_gap_is_asked_no_more_and_a_named_cause_closes_its_gap(ann: Person) -> None:
    gaps = draft().gaps
    ann.edits = (new_edit("Ann", EditKind.WAIVE, Target(kind=TargetKind.GAP, field="visit.customer")),)
    ann.does(EditKind.LINK, "f1", **{"as": "causes"})

    def asking(d: Draft) -> Draft:
        cause = gaps[0].model_copy(update={"field": "cause"})
        return d.model_copy(update={"gaps": (*gaps, cause), "diagnosis": d.diagnosis.model_copy(update={"causes": ()})})

    after = replay(ann.machine, ann.edits, finish=asking).draft
    assert [gap.field for gap in after.gaps] == ["equipment.refrigerant"]
    assert after.diagnosis.causes == ("f1",)


def test_a_cause_that_a_person_writes_is_a_finding_and_the_cause() -> None:
    machine = draft().model_copy(update={"diagnosis": draft().diagnosis.model_copy(update={"causes": ()})})
    fact = {"component": "door gasket", "condition": "worn", "status": "observed", "text": "The gasket was torn"}
    edit = make_fact(machine, "Ann", TargetKind.FINDING, fact, None, link="causes")

    after, conflicts = apply(machine, (edit,))
    assert after.diagnosis.causes == ("f2",)
    assert after.findings[1].text == "The gasket was torn"
    assert conflicts == ()


def test_which_one_is_answered_for_every_entry_that_does_not_say(ann: Person) -> None:
    target = Target(kind=TargetKind.GAP, field="which:run capacitor")
    ann.edits = (new_edit("Ann", EditKind.ANSWER, target, now={"place": "left fan"}),)

    after = ann.sees().draft
    assert [r.place for r in after.readings] == ["left fan", "left fan", "common", None, None]
    assert after.actions[1].place == "left fan"


def test_undo_and_redo_walk_back_and_forth_and_a_new_edit_ends_the_way_back(ann: Person) -> None:
    first = ann.does(EditKind.CHANGE, "r3", value=8.6)
    second = ann.does(EditKind.CHANGE, "r4", value=50.0)
    ann.does(EditKind.HEARD, "r4")
    assert to_undo(ann.edits) == second
    ann.says(EditKind.UNDO, edit=second.id)
    assert to_undo(ann.edits) == first
    ann.says(EditKind.UNDO, edit=first.id)
    assert ann.sees().draft == ann.machine
    assert to_undo(ann.edits) is None
    assert to_redo(ann.edits) == first
    ann.says(EditKind.REDO, edit=first.id)
    assert to_redo(ann.edits) == second
    assert reading(ann.sees(), "r3").value == 8.6

    ann.does(EditKind.CHANGE, "r5", value=37.0)
    assert to_redo(ann.edits) is None
    assert [edit.id for edit in ann.edits if edit.kind is EditKind.CHANGE] == [first.id, second.id, ann.edits[-1].id]


def test_an_edit_after_the_review_makes_it_a_draft_again(ann: Person) -> None:
    ann.says(EditKind.REVIEW, review="reviewed")
    assert review_state(ann.edits) == "reviewed"
    ann.does(EditKind.HEARD, "r4")
    assert review_state(ann.edits) == "reviewed"
    ann.does(EditKind.CHANGE, "r4", value=50.0)
    assert review_state(ann.edits) == "draft"


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


# The file


def test_the_log_is_read_back_and_a_damaged_one_is_said(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", value=24.9)
    ann.does(EditKind.DELETE, "f1")
    assert load_edits(dump_edits(ann.edits)) == ann.edits

    with pytest.raises(StoreError, match=r"edits\.json"):
        load_edits('{"schema": "edits/1", "edits": [{"id": 3}]}')


VALUES = st.floats(min_value=-500, max_value=500, allow_nan=False).map(lambda v: round(v, 2))


@given(
    steps=st.lists(
        st.tuples(st.sampled_from(["value", "accept", "delete", "heard", "undo", "redo"]), st.integers(0, 9), VALUES),
        max_size=14,
    )
)
def test_whatever_is_done_the_log_tells_it_and_every_figure_is_somewhere(
    steps: list[tuple[str, int, float]],
) -> None:
    ann = Person(draft())
    for what, which, value in steps:
        standing = [r.id for r in ann.sees().draft.readings]
        handle = standing[which % len(standing)] if standing else None
        if what == "undo" and (edit := to_undo(ann.edits)):
            ann.says(EditKind.UNDO, edit=edit.id)
        elif what == "redo" and (edit := to_redo(ann.edits)):
            ann.says(EditKind.REDO, edit=edit.id)
        elif handle and what == "value":
            ann.does(EditKind.CHANGE, handle, value=value)
        elif handle and what in ("accept", "delete", "heard"):
            ann.does(EditKind(what), handle)

    after = ann.sees()
    assert after.conflicts == (), "the same draft never conflicts with what was done on it"
    assert replay(ann.machine, load_edits(dump_edits(ann.edits))).draft == after.draft
    told = {r.evidence for r in after.draft.readings} | {u.evidence for u in after.draft.unplaced}
    assert {r.evidence for r in ann.machine.readings} <= told
    last = {edit.target.evidence: edit.now["value"] for edit in effective(ann.edits) if edit.kind is EditKind.CHANGE}
    standing_values = {r.evidence: r.value for r in after.draft.readings}
    assert all(standing_values.get(where, value) == value for where, value in last.items())


@given(shift=st.floats(-0.9, 0.9), lost=st.sets(st.integers(0, 4)), value=VALUES)
def test_a_persons_figure_is_in_every_later_draft_or_in_a_conflict(shift: float, lost: set[int], value: float) -> None:
    ann = Person(draft())
    for handle in ("r1", "r2", "r3", "r4", "r5"):
        ann.does(EditKind.CHANGE, handle, value=value)
    again = draft(timed(LINES, shift_s=shift))
    again = again.model_copy(update={"readings": tuple(r for i, r in enumerate(again.readings) if i not in lost)})

    after = replay(again, ann.edits)
    assert [r.value for r in after.draft.readings].count(value) == 5
    assert len(after.conflicts) == len(lost)
