"""The commands as a user meets them: what they write and say, and that every fault is one clear sentence."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import SAMPLES, SHORT, Called

Call = Callable[..., Called]
TEXT_FILES = ("draft.json", "report.html", "report.pdf", "report.docx", "report.md", "readings.csv", "transcript.vtt")


def state(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Every file under the folder with its time of change and content."""
    return {
        str(path.relative_to(folder)): (path.stat().st_mtime_ns, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_version_is_the_packages(jobtape: Call) -> None:
    from importlib.metadata import version

    assert jobtape("--version").out == f"jobtape {version('jobtape')}\n"


def test_a_day_of_texts_gives_a_folder_a_job(jobtape: Call, tmp_path: Path) -> None:
    out, day = tmp_path / "out", SAMPLES / "day"
    called = jobtape("draft", day / "ice-machine.txt", day / "school-prep-table.txt", "--out", out)

    assert (called.status, called.err) == (0, "")
    for name in ("ice-machine", "school-prep-table"):
        assert {path.name for path in (out / name).iterdir()} >= set(TEXT_FILES)
        assert json.loads((out / name / "draft.json").read_text())["status"] == "complete"
    assert called.out.rstrip().endswith(str(out / "school-prep-table" / "report.html"))


def test_the_same_call_again_changes_nothing(jobtape: Call, day: Path, tmp_path: Path) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    before = state(tmp_path / "out")
    called = jobtape("draft", day, "--out", tmp_path / "out")

    assert called.status == 0
    assert "Nothing has changed" in called.out
    assert state(tmp_path / "out") == before


def test_the_same_call_again_loads_no_model(day: Path, tmp_path: Path) -> None:
    script = (
        "import sys; from pipeline.cli import app;"
        f"app(['draft', {str(day)!r}, '--out', {str(tmp_path / 'out')!r}], standalone_mode=False);"
        "print('loaded', *sorted({'spacy', 'faster_whisper', 'av', 'numpy', 'typst', 'docx'} & set(sys.modules)))"
    )
    root = Path(__file__).parents[1]
    first, second = (
        subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, cwd=root, check=True)
        for _ in range(2)
    )

    assert "spacy" in first.stdout.splitlines()[-1]
    assert "Nothing has changed" in second.stdout
    assert second.stdout.splitlines()[-1] == "loaded"


def test_a_paper_that_was_removed_is_made_again(jobtape: Call, day: Path, tmp_path: Path) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    (tmp_path / "out" / "front" / "report.pdf").unlink()
    jobtape("draft", day, "--out", tmp_path / "out")

    assert (tmp_path / "out" / "front" / "report.pdf").is_file()


BAD: dict[str, bytes] = {
    "empty.txt": b"",
    "blank.txt": b" \n\t\n",
    "nul.txt": b"suction is 62 psi\0\0\0and more",
    "utf16.txt": "suction is 62 psi".encode("utf-16"),
    "no-sound.m4a": b"this is a text and no sound",
    "empty.wav": b"",
    "text-in-disguise.txt": bytes(range(256)) * 20,
    "strange 'name' \"here\" 🔧 ..txt": b"",
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_source_is_one_sentence_and_the_others_are_done(
    jobtape: Call, day: Path, tmp_path: Path, name: str
) -> None:
    (tmp_path / name).write_bytes(BAD[name])
    called = jobtape("draft", tmp_path / name, day / "front.txt", "--out", tmp_path / "out")

    assert called.status == 2
    assert (tmp_path / "out" / "front" / "report.pdf").is_file()
    lines = called.err.splitlines()
    assert len(lines) == 1
    assert lines[0].startswith("jobtape: ")
    assert name in lines[0]


def test_sources_that_are_not_there_are_told_one_by_one(jobtape: Call, day: Path, tmp_path: Path) -> None:
    (tmp_path / "nothing").mkdir()
    called = jobtape("draft", tmp_path / "gone.m4a", tmp_path / "nothing", day, "--out", tmp_path / "out")

    assert called.status == 2
    gone, nothing = called.err.splitlines()
    assert "gone.m4a" in gone
    assert "nothing" in nothing
    assert (tmp_path / "out" / "front" / "draft.json").is_file()


def test_the_same_bad_call_again_tells_the_fault_again(jobtape: Call, day: Path, tmp_path: Path) -> None:
    (day / "empty.txt").touch()
    first = jobtape("draft", day, "--out", tmp_path / "out")
    second = jobtape("draft", day, "--out", tmp_path / "out")

    assert (second.status, second.err) == (first.status, first.err)
    assert "Nothing has changed" in second.out


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="rights do not bind this user")
def test_a_source_that_may_not_be_read(jobtape: Call, day: Path, tmp_path: Path) -> None:
    (day / "front.txt").chmod(0)
    called = jobtape("draft", day, "--out", tmp_path / "out")

    assert called.status == 2
    assert "may not be read" in called.err


def test_an_output_folder_that_is_a_file(jobtape: Call, day: Path, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    called = jobtape("draft", day, "--out", tmp_path / "out")

    assert called.status == 3
    assert len(called.err.splitlines()) == 1
    assert (tmp_path / "out").read_text() == "mine"


@pytest.mark.parametrize("name", ["two words", 'it\'s "quoted"', "🔧 cooler", "2026.03.14 front", "...", "a" * 120])
def test_any_name_of_a_file_makes_a_folder_of_its_own(jobtape: Call, tmp_path: Path, name: str) -> None:
    (tmp_path / f"{name}.txt").write_text(SHORT)
    called = jobtape("draft", tmp_path / f"{name}.txt", "--out", tmp_path / "out")

    assert called.status == 0, called.err
    made = [path.name for path in (tmp_path / "out").iterdir() if not path.name.startswith(".")]
    assert made == [name.strip(".") or "txt"]


def test_a_second_call_at_the_same_time_is_refused(jobtape: Call, day: Path, tmp_path: Path) -> None:
    from pipeline.keep import only_call

    with only_call(tmp_path / "out" / ".jobtape"):
        called = jobtape("draft", day, "--out", tmp_path / "out")

    assert called.status == 5
    assert "Another jobtape call" in called.err
    assert not (tmp_path / "out" / "front").exists()


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["--given", "customer"], "equals"),
        (["--given", "custmer=X"], "customer"),
        (["--given", "altitude_ft=high"], "altitude_ft"),
        (["--hearing", "twice"], "careful"),
        (["--shop", "nowhere.toml"], "nowhere.toml"),
    ],
    ids=["no equals sign", "unknown key", "no number", "unknown hearing", "no shop file"],
)
def test_a_wrong_option_is_one_sentence(
    jobtape: Call, day: Path, tmp_path: Path, arguments: list[str], word: str
) -> None:
    called = jobtape("draft", day, "--out", tmp_path / "out", *arguments)

    assert called.status == 2
    assert len(called.err.splitlines()) == 1
    assert word in called.err


def test_why_tells_words_and_checks(jobtape: Call, day: Path, tmp_path: Path) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    draft = json.loads((tmp_path / "out" / "front" / "draft.json").read_text())
    measured = next(reading for reading in draft["readings"] if reading["value"] == 2.3)
    called = jobtape("why", tmp_path / "out" / "front", measured["id"])

    assert called.status == 0
    assert measured["evidence"]["quote"] in called.out
    assert "front.txt" in called.out
    assert "capacitor-tolerance" in called.out


def test_why_of_what_is_not_there_names_what_is(jobtape: Call, day: Path, tmp_path: Path) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    called = jobtape("why", tmp_path / "out" / "front", "r99")

    assert called.status == 2
    assert "r1 to r" in called.err


def test_why_of_a_folder_without_a_draft(jobtape: Call, tmp_path: Path) -> None:
    assert jobtape("why", tmp_path, "r1").status == 2


def test_check_setup_is_sound_here_and_finds_what_is_not(jobtape: Call, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    called = jobtape("check-setup", "--out", tmp_path / "file", "--model", tmp_path)
    missing = [line for line in called.out.splitlines() if line.startswith("MISSING")]

    assert called.status == 3
    assert [line.split(":")[0].split(maxsplit=1)[1] for line in missing] == [
        "speech model", "second hearing", "output folder",
    ]  # fmt: skip
    assert jobtape("check-setup").status == 0


def test_a_fault_of_the_program_is_a_sentence_and_a_file(
    jobtape: Call, day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JOBTAPE_CACHE", str(tmp_path / "cache"))

    def broken(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("pipeline.day.draft_day", broken)
    called = jobtape("draft", day, "--out", tmp_path / "out")

    assert called.status == 1
    assert len(called.err.splitlines()) == 1
    assert "ZeroDivisionError" in (tmp_path / "cache" / "last-fault.txt").read_text()


def test_hear_of_a_text_gives_what_draft_reads(jobtape: Call) -> None:
    called = jobtape("hear", SAMPLES / "day" / "ice-machine.txt")

    assert called.out == (SAMPLES / "day" / "ice-machine.txt").read_text()


def test_a_stage_that_failed_is_told_and_seen_in_the_exit_status(
    jobtape: Call, day: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("pipeline.summary.summary", broken)
    called = jobtape("draft", day, "--out", tmp_path / "out", "--quiet")

    assert (called.status, called.out) == (1, "")
    assert called.err.startswith("jobtape: front: The summary could not be made")


def test_papers_are_made_anew_from_the_draft(jobtape: Call, day: Path, tmp_path: Path) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    report = tmp_path / "out" / "front" / "report.md"
    before = report.read_bytes()
    report.unlink()
    called = jobtape("papers", tmp_path / "out" / "front", "--paper", "report", "--as", "md")

    assert called.out.split() == [str(report)]
    assert report.read_bytes() == before


@pytest.mark.parametrize("option", [("--paper", "poem"), ("--as", "papyrus")])
def test_a_paper_or_form_that_is_not_there(jobtape: Call, day: Path, tmp_path: Path, option: tuple[str, str]) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    called = jobtape("papers", tmp_path / "out" / "front", *option)

    assert called.status == 2
    assert option[1] in called.err


READINGS = """quantity,subject,role,value,unit,tolerance_minus,tolerance_plus
capacitance,run capacitor,rated,5,uF,6,6
capacitance,run capacitor,measured,2.3,uF,,
"""


@pytest.mark.parametrize("way", ["file", "standard input"])
def test_judge_gives_the_checks(jobtape: Call, tmp_path: Path, way: str) -> None:
    (tmp_path / "readings.csv").write_text(READINGS)
    source = tmp_path / "readings.csv" if way == "file" else "-"
    called = jobtape("judge", source, "--as", "json", typed=READINGS)
    check = json.loads(called.out)[0]

    assert (called.status, check["rule"], check["verdict"]) == (0, "capacitor-tolerance", "out_of_tolerance")
    assert "OUT OF TOLERANCE" in jobtape("judge", source, typed=READINGS).out


def test_judge_reads_the_readings_of_a_report(jobtape: Call, day: Path, tmp_path: Path) -> None:
    jobtape("draft", day, "--out", tmp_path / "out")
    called = jobtape("judge", tmp_path / "out" / "front" / "readings.csv", "--as", "json")

    assert [check["verdict"] for check in json.loads(called.out)] == ["out_of_tolerance"]


@pytest.mark.parametrize(
    ("table", "word"),
    [("quantity,subject\n", "role"), (READINGS.replace("2.3", "two"), "two"), (READINGS.replace("uF", "cfm"), "cfm")],
    ids=["column missing", "no number", "unit of another quantity"],
)
def test_judge_of_a_wrong_table_is_one_sentence(jobtape: Call, tmp_path: Path, table: str, word: str) -> None:
    (tmp_path / "readings.csv").write_text(table)
    called = jobtape("judge", tmp_path / "readings.csv")

    assert called.status == 2
    assert len(called.err.splitlines()) == 1
    assert word in called.err


def test_rules_lists_them_and_tells_one(jobtape: Call) -> None:
    assert "capacitor-tolerance" in jobtape("rules").out
    assert "tolerance" in jobtape("rules", "capacitor-tolerance").out
    assert jobtape("rules", "capacitor-tolerence").status == 2
