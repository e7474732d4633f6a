"""Edits: addressed by evidence, replayed over any draft, nothing that a person set is ever dropped in silence."""

from __future__ import annotations

import pytest
from app_drafts import LINES, draft, timed
from app_person import Person, reading
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.draft import Draft
from pipeline.edits import (
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
from pipeline.edits_apply import apply, replay
from pipeline.edits_make import make_fact, words_at
from pipeline.errors import InputError, StoreError


@pytest.fixture
def ann() -> Person:
    return Person(draft())


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


def test_a_corrected_figure_leaves_no_doubt_at_its_neighbours_that_the_checks_no_longer_raise() -> None:
    machine = draft()
    doubted = machine.readings[0].model_copy(update={"confirm": ("unit not said", "does not fit: far above 21.9")})
    ann = Person(machine.model_copy(update={"readings": (doubted, *machine.readings[1:])}))
    ann.does(EditKind.CHANGE, "r2", value=24.9)

    after = replay(ann.machine, ann.edits, finish=lambda checked: checked)
    assert reading(after, "r1").confirm == ("unit not said",)


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


# The file


def test_the_log_is_read_back_and_a_damaged_one_is_said(ann: Person) -> None:
    ann.does(EditKind.CHANGE, "r2", value=24.9)
    ann.does(EditKind.DELETE, "f1")
    assert load_edits(dump_edits(ann.edits)) == ann.edits

    with pytest.raises(StoreError, match=r"edits\.json"):
        load_edits('{"schema": "edits/1", "edits": [{"id": 3}]}')


VALUES = st.floats(min_value=-500, max_value=500, allow_nan=False).map(lambda v: round(v, 2))


@settings(deadline=None)
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


@settings(deadline=None)
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
