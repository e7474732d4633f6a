"""A day through the stages: what survives a fault, what is never lost, what a person gave."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from conftest import SAMPLES, SHORT, run

from pipeline import given
from pipeline.day import Day, Wish
from pipeline.draft import Draft
from pipeline.errors import SetupError
from pipeline.jobfolder import Ledger, OutFolder, Owner, folder_name
from pipeline.keep import Keep, digest_of, write_whole

pytestmark = pytest.mark.filterwarnings("ignore")


def broken(*_: Any, **__: Any) -> Any:
    raise RuntimeError("broken on purpose")


# What survives a fault of the program.


@pytest.mark.parametrize(
    ("where", "stage"),
    [
        ("extractors.find_facts", "extract"),
        ("pipeline.checks.check", "check"),
        ("pipeline.gaps.gaps", "compose"),
        ("pipeline.cautions.cautions", "compose"),
        ("pipeline.diagnosis.diagnose", "compose"),
        ("pipeline.render.pdf.pdf", "render"),
        ("pipeline.render.exports.readings_csv", "render"),
        ("extractors.jobs.split_jobs", "extract"),
    ],
)
def test_a_stage_that_raises_costs_only_its_own_result(
    day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str, stage: str
) -> None:
    monkeypatch.setattr(where, broken)
    job = run(day, out=tmp_path / "out").jobs[0]

    assert job.draft.status == "partial"
    assert job.draft.problems[0].stage == stage
    assert all("broken on purpose" in problem.message for problem in job.draft.problems)
    assert (job.folder / "report.html").is_file()
    assert job.draft.transcript.segments[0].text == SHORT.strip()


@pytest.mark.parametrize("where", ["pipeline.day.hear", "pipeline.run.started"])
def test_a_fault_of_the_program_costs_one_source(
    day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    from pipeline import day as days

    (day / "second.txt").write_text(SHORT)
    module, name = where.rsplit(".", 1)
    sound = getattr(days if module == "pipeline.day" else days.run, name)

    def once(*arguments: Any, **options: Any) -> Any:
        monkeypatch.setattr(where, sound)
        raise RuntimeError("broken on purpose")

    monkeypatch.setenv("JOBTAPE_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(where, once)
    done = run(day, out=tmp_path / "out")

    assert [(fault.error.code, "broken on purpose" in fault.error.message) for fault in done.faults] == [
        ("internal", True)
    ]
    assert [job.name for job in done.jobs] == ["second"]


def test_a_run_with_a_fault_of_the_program_is_tried_again(
    day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr("pipeline.summary.summary", broken)
        run(day, out=tmp_path / "out")
    again = run(day, out=tmp_path / "out")

    assert not again.unchanged
    assert again.jobs[0].draft.status == "complete"


def test_an_earlier_call_is_not_taken_for_done_when_another_one_wrote_since(day: Path, tmp_path: Path) -> None:
    given_one = Wish(given=given.read_pairs(["customer=One"]))
    given_two = Wish(given=given.read_pairs(["customer=Two"]))
    for wish in (given_one, given_two, given_one):
        done = run(day, out=tmp_path / "out", wish=wish)

    assert not done.unchanged
    assert '"One"' in (tmp_path / "out" / "front" / "draft.json").read_text()


# What is never lost.


def test_a_full_disk_leaves_the_old_job_as_it_was(day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run(day, out=tmp_path / "out")
    folder = tmp_path / "out" / "front"
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    (day / "front.txt").write_text(SHORT + "Suction is 62 psi.\n")
    written: list[Path] = []

    def full(path: Path, data: bytes) -> None:
        if len(written) == 3:
            raise SetupError("no-space", "The disk is full.")
        written.append(path)
        write_whole(path, data)

    with monkeypatch.context() as patched:
        patched.setattr("pipeline.jobfolder.write_whole", full)
        failed = run(day, out=tmp_path / "out")

    assert [fault.error.code for fault in failed.faults] == ["no-space"]
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert run(day, out=tmp_path / "out").jobs[0].draft != Draft.model_validate_json(before["draft.json"])


def test_a_new_job_that_did_not_fit_keeps_its_name(day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, data: bytes) -> None:
        raise SetupError("no-space", "The disk is full.")

    with monkeypatch.context() as patched:
        patched.setattr("pipeline.jobfolder.write_whole", full)
        run(day, out=tmp_path / "out")

    assert [job.name for job in run(day, out=tmp_path / "out").jobs] == ["front"]


@pytest.mark.parametrize("moved", [0, 1, 4])
@pytest.mark.parametrize("earlier", [False, True], ids=["new job", "old job"])
def test_a_kill_while_files_take_their_places_is_mended_by_the_next_call(
    day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moved: int, earlier: bool
) -> None:
    if earlier:
        run(day, out=tmp_path / "out")
        (day / "front.txt").write_text(SHORT + "Suction is 62 psi.\n")
    places: list[Path] = []
    replace = Path.replace

    def killed(self: Path, target: Path) -> Path:
        if self.parent.name.startswith("writing-") and not self.name.startswith(".") and target.parent.name == "front":
            if len(places) == moved:
                raise KeyboardInterrupt
            places.append(target)
        return replace(self, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", killed)
        with pytest.raises(KeyboardInterrupt):
            run(day, out=tmp_path / "out")
    again = run(day, out=tmp_path / "out")

    assert (again.unchanged, [job.name for job in again.jobs]) == (False, ["front"])
    assert sorted(path.name for path in (tmp_path / "out" / "front").iterdir()) == sorted(again.jobs[0].files)
    assert run(day, out=tmp_path / "out").unchanged


def test_write_whole_leaves_the_old_file_when_it_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import errno

    target = tmp_path / "paper"
    target.write_bytes(b"old")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(SetupError, match="disk is full"):
        write_whole(target, b"new")

    assert [path.name for path in tmp_path.iterdir()] == ["paper"]
    assert target.read_bytes() == b"old"


def test_a_damaged_kept_result_counts_as_absent(tmp_path: Path) -> None:
    keep = Keep(tmp_path)
    keep.put("heard", "key", "what was heard")
    path = keep.path("heard", "key")

    assert keep.get("heard", "key") == "what was heard"
    path.write_bytes(path.read_bytes()[:-3])
    assert keep.get("heard", "key") is None


def test_digests_tell_parts_apart() -> None:
    assert digest_of("ab", "c") != digest_of("a", "bc")


def test_a_paper_changed_by_hand_is_put_aside(day: Path, tmp_path: Path) -> None:
    run(day, out=tmp_path / "out")
    paper = tmp_path / "out" / "front" / "report.md"
    for text in ("mine", "mine again"):
        paper.write_text(text)
        (day / "front.txt").write_text(SHORT + f"Suction is {len(text)} psi.\n")
        run(day, out=tmp_path / "out")

    assert (paper.parent / "report (yours).md").read_text() == "mine"
    assert (paper.parent / "report (yours 2).md").read_text() == "mine again"
    assert "mine" not in paper.read_text()


def test_another_source_of_the_same_name_gets_its_own_folder(day: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "front.said.txt").write_text("Box is at 38 degrees.\n")
    run(day, out=tmp_path / "out")
    first = (tmp_path / "out" / "front" / "draft.json").read_bytes()
    run(other, out=tmp_path / "out")
    both = run(other, day, out=tmp_path / "apart")

    assert (tmp_path / "out" / "front" / "draft.json").read_bytes() == first
    assert json.loads((tmp_path / "out" / "front_b" / "draft.json").read_text())["name"] == "front_b"
    assert [job.name for job in both.jobs] == ["front", "front_b"]


def test_a_lost_ledger_costs_no_job(day: Path, tmp_path: Path) -> None:
    run(day, out=tmp_path / "out")
    (tmp_path / "out" / ".jobtape" / "ledger.json").write_text("{")
    again = run(day, out=tmp_path / "out")

    assert [job.name for job in again.jobs] == ["front"]


def test_names_of_jobs_of_one_source_and_of_a_source_of_that_name(tmp_path: Path) -> None:
    out, ledger, taken = OutFolder(tmp_path), Ledger(), []
    source = tmp_path / "front.m4a"
    for base, path, ordinal in [("front", source, 1), ("front", source, 2), ("front-2", tmp_path / "front-2.m4a", 1)]:
        taken.append(out.name_for(base, path, "digest", ordinal, ledger, taken))

    assert taken == ["front", "front-2", "front-2_b"]


def test_a_folder_of_a_person_is_never_written_into(tmp_path: Path) -> None:
    (tmp_path / "front").mkdir()
    (tmp_path / "front" / "mine.txt").touch()

    assert OutFolder(tmp_path).name_for("front", tmp_path / "front.m4a", "digest", 1, Ledger(), []) == "front_b"


@pytest.mark.parametrize(("name", "folder"), [("..", "job"), (".hidden", "hidden"), ("", "job"), (" a . ", "a")])
def test_folder_names_are_never_hidden_and_never_climb(name: str, folder: str) -> None:
    assert folder_name(name) == folder


def test_a_folder_that_is_no_longer_made_is_named(day: Path, tmp_path: Path) -> None:
    run(day, out=tmp_path / "out")
    out = OutFolder(tmp_path / "out")
    ledger = out.ledger()
    (tmp_path / "out" / "front-2").mkdir()
    ledger.jobs["front-2"] = Owner(sources=(str((day / "front.txt").resolve()),), ordinal=2)
    out.keep_ledger(ledger)
    (day / "front.txt").write_text(SHORT * 2)
    again = run(day, out=tmp_path / "out")

    assert ["front-2" in note for note in again.notes] == [True]
    assert (tmp_path / "out" / "front-2").is_dir()


# Edits.


def test_edits_are_kept_and_shown_in_the_papers(day: Path, tmp_path: Path) -> None:
    from pipeline.edits import EditKind, Target, TargetKind, dump_edits, new_edit

    job = run(day, out=tmp_path / "out").jobs[0]
    target = Target(kind=TargetKind.FIELD, field="visit.customer")
    edits = dump_edits([new_edit("Robin", EditKind.CHANGE, target, now={"value": "Mill Lane Bakery"})])
    (job.folder / "edits.json").write_text(edits)
    machine = (job.folder / "draft.json").read_bytes()
    again = run(day, out=tmp_path / "out")

    assert not again.unchanged
    assert (job.folder / "edits.json").read_text() == edits
    assert (job.folder / "draft.json").read_bytes() == machine
    assert "Mill Lane Bakery" in (job.folder / "report.html").read_text()
    assert run(day, out=tmp_path / "out").unchanged


# An interrupted hearing.


class FakeTranscriber:
    """Hears one invented sentence in every window, and can be stopped in the middle as by Ctrl-C."""

    def __init__(self, stop_at: int | None = None) -> None:
        self.heard = 0
        self.stop_at = stop_at

    def listen(self, samples: Any, speech_until_s: float) -> list[Any]:
        from pipeline.whisper import HeardPassage, HeardWord

        if self.heard == self.stop_at:
            raise KeyboardInterrupt
        self.heard += 1
        words = [" suction", " is", " 62", " psi"]
        return [HeardPassage(tuple(HeardWord(n * 0.3, n * 0.3 + 0.2, w, 0.9) for n, w in enumerate(words)), -0.3)]


def test_an_interrupted_call_goes_on_and_comes_to_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def call(out: str, transcriber: FakeTranscriber) -> Day:
        monkeypatch.setattr("pipeline.hear._load", lambda *_: transcriber)
        return run(SAMPLES / "day" / "walk-in-cooler.m4a", out=tmp_path / out)

    whole = FakeTranscriber()
    straight = call("straight", whole)
    first, rest = FakeTranscriber(stop_at=2), FakeTranscriber()
    with pytest.raises(KeyboardInterrupt):
        call("stopped", first)
    resumed = call("stopped", rest)

    assert whole.heard > 3
    assert (first.heard, rest.heard) == (2, whole.heard - 2)
    assert resumed.jobs[0].draft == straight.jobs[0].draft
