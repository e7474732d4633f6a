"""Own words: proposed after the second time, never a figure, used whole, kept in a file that a person can read."""

from __future__ import annotations

from pathlib import Path

import pytest
from app_drafts import draft, timed
from hypothesis import given, settings
from hypothesis import strategies as st

from extractors.facts import Segment, Transcript
from pipeline.edits import EditKind, Target, TargetKind, new_edit
from pipeline.edits_make import make_words
from pipeline.errors import AuthoringError
from pipeline.learned import (
    OwnWord,
    OwnWords,
    decide,
    hotwords,
    load_words_file,
    proposals,
    respell,
    save_words_file,
)


def log(job_id: str, heard: str, say: str) -> tuple[str, list[object]]:
    target = Target(kind=TargetKind.WORDS)
    return job_id, [new_edit("Ann", EditKind.WORDS, target, was={"text": heard}, now={"text": say})]


@pytest.mark.parametrize(
    ("logs", "proposed"),
    [
        ([("a", "convincing unit", "condensing unit")] * 2, [("convincing unit", "condensing unit", 2)]),
        (
            [("a", "Convincing unit.", "condensing unit"), ("b", "convincing  unit", "condensing unit")],
            [("convincing unit", "condensing unit", 2)],
        ),
        ([("a", "convincing unit", "condensing unit")], []),
        ([("a", "x", "y"), ("b", "x", "z")], []),
        ([("a", "21.9", "24.9")] * 3, []),
        ([("a", "r 4 oh 4 a", "R-404A")] * 3, []),
        ([("a", "word", "Word")] * 3, []),
        ([("a", "one two three four five six", "seven")] * 3, []),
        ([("a", "noise", "")] * 3, []),
    ],
    ids=str,
)
def test_what_was_corrected_twice_is_proposed(
    logs: list[tuple[str, str, str]], proposed: list[tuple[str, str, int]]
) -> None:
    found = proposals([log(*one) for one in logs], OwnWords())  # type: ignore[arg-type]
    assert [(p.heard, p.say, p.times) for p in found] == proposed


def test_an_undone_correction_teaches_nothing() -> None:
    job_id, edits = log("a", "lint", "fluff")
    undo = new_edit("Ann", EditKind.UNDO, Target(kind=TargetKind.JOB), now={"edit": edits[0].id})  # type: ignore[attr-defined]
    assert proposals([(job_id, [*edits, undo]), log("b", "lint", "fluff")], OwnWords()) == []  # type: ignore[list-item]


def test_a_decision_is_kept_in_a_readable_file_and_can_be_taken_back(tmp_path: Path) -> None:
    path = tmp_path / "words.toml"
    assert load_words_file(path) == OwnWords()
    words = decide(OwnWords(), "lint", 'fluff "grey" \\', "accept", "Ann", "2026-03-14")
    save_words_file(path, words)
    assert load_words_file(path) == words
    assert path.read_text().startswith("# The shop's own words.")

    back = decide(words, "LINT", 'fluff "grey" \\', "remove", "Ann", "2026-03-15")
    assert back.word == ()
    assert [row.heard for row in back.refused] == ["LINT"]
    twice = [log("a", "lint", 'fluff "grey" \\'), log("b", "lint", 'fluff "grey" \\')]
    assert proposals(twice, back) == []  # type: ignore[arg-type]


def test_a_damaged_file_is_named(tmp_path: Path) -> None:
    path = tmp_path / "words.toml"
    path.write_text("[[word]]\nheard = 3\n")
    with pytest.raises(AuthoringError, match=r"words\.toml"):
        load_words_file(path)


def test_hints_for_hearing_hold_no_figure() -> None:
    words = OwnWords(
        word=(OwnWord(heard="a", say="Kessel"), OwnWord(heard="b", say="R-404A")), names=("Brandt", "Unit 5")
    )
    assert hotwords(words) == "Kessel, Brandt"


OWN = OwnWords(word=(OwnWord(heard="convincing unit", say="condensing unit"), OwnWord(heard="lint", say="fluff")))


def test_own_words_are_put_right_with_their_times_and_marks_kept() -> None:
    spoken = timed(("out at the convincing unit it is full of Lint.", "a convincing union"))
    after = respell(spoken, OWN)

    assert [s.text for s in after.segments] == ["out at the condensing unit it is full of fluff.", "a convincing union"]
    first = after.segments[0]
    assert [w.text for w in first.words] == ["out", "at", "the", "condensing unit", "it", "is", "full", "of", "fluff."]
    assert (first.words[3].start, first.words[3].end) == (
        spoken.segments[0].words[3].start,
        spoken.segments[0].words[4].end,
    )


def test_text_without_words_is_put_right_too() -> None:
    after = respell(Transcript(segments=(Segment(text="The convincing unit, lint", line=1),)), OWN)
    assert after.segments[0].text == "The condensing unit, fluff"


@settings(deadline=None)
@given(st.lists(st.sampled_from(["convincing", "unit", "lint", "unit,", "the", "21.9", "Lint."]), max_size=12))
def test_no_figure_and_no_other_word_is_touched(texts: list[str]) -> None:
    line = " ".join(texts)
    if not texts:
        return
    after = respell(Transcript(segments=(Segment(text=line, line=1),)), OWN).segments[0].text
    assert after.count("21.9") == line.count("21.9")
    assert after.split().count("the") == line.split().count("the")
    assert "lint" not in after.lower().replace(",", " ").replace(".", " ").split()


def test_a_name_and_a_part_teach_as_words_do_and_a_serial_does_not() -> None:
    from app_person import Person

    logs = []
    for job_id in ("a", "b"):
        ann = Person(draft())
        ann.does(EditKind.CHANGE, "visit.site", value="Feed and seed, loading dock")
        ann.does(EditKind.CHANGE, "p1", description="fan capacitor")
        ann.does(EditKind.CHANGE, "equipment.serial", value="K47-2299")
        logs.append((job_id, ann.edits))
    found = {(p.heard, p.say) for p in proposals(logs, OwnWords())}
    assert found == {("feed store, loading dock", "Feed and seed, loading dock"), ("run capacitor", "fan capacitor")}


def test_a_correction_made_on_the_page_is_such_a_word() -> None:
    edit = make_words(draft(), "Ann", 5, 4, 4, "fluff")
    found = proposals([("a", [edit]), ("b", [edit])], OwnWords())
    assert [(p.heard, p.say, p.jobs) for p in found] == [("lint", "fluff", ("a", "b"))]
