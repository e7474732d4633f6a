"""What the terminal shows of a job, and when it shows progress."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from extractors.facts import Alternative, Evidence, Quantity, Reading, Role
from pipeline.day import Day, Job
from pipeline.draft import Basis, Check, Draft, Gap, Verdict
from pipeline.terminal import MOST_LISTED, Progress, day_text, job_text

EVIDENCE = Evidence(start=1.0, end=2.0, quote="it's 21.9")


def reading(number: int, *confirm: str, superseded_by: str | None = None) -> Reading:
    return Reading(
        id=f"r{number}",
        quantity=Quantity.CAPACITANCE,
        subject="run capacitor",
        role=Role.MEASURED,
        value=21.9,
        unit="uF",
        evidence=EVIDENCE,
        confirm=confirm,
        alternatives=(Alternative(value=29.9, unit="uF"),) if confirm else (),
        superseded_by=superseded_by,
    )


def check(number: int, verdict: Verdict) -> Check:
    basis = Basis(kind="nameplate", source="marking")
    return Check(id=f"c{number}", rule="capacitor-tolerance", verdict=verdict, message=f"It is {verdict}.", basis=basis)


def job(draft: Draft) -> Job:
    folder = Path("out") / "a name with spaces" / "front"
    return Job("front", folder, draft, ("draft.json", "report.html", "report.pdf"))


def test_a_job_shows_doubts_failed_checks_gaps_and_where_the_report_is() -> None:
    draft = Draft(
        readings=(reading(1), reading(2, "heard differently"), reading(3, "decimal point", superseded_by="r1")),
        checks=(check(1, Verdict.OUT_OF_TOLERANCE), check(2, Verdict.IN_TOLERANCE)),
        gaps=(Gap(field="complaint", question="What did the customer report?"),),
    )
    lines = job_text(job(draft)).splitlines()
    text = "\n".join(line.strip() for line in lines)

    assert "1 of 3 figures\nr2 run capacitor 21.9\u00a0µF: heard differently" in text
    assert "1 of 2 comparisons\nc1 It is out_of_tolerance." in text
    assert "It is in_tolerance" not in text
    assert "What did the customer report?" in text
    assert lines[-1].strip() == str(Path("out") / "a name with spaces" / "front" / "report.html")


def test_a_long_list_is_cut_and_says_so() -> None:
    draft = Draft(readings=tuple(reading(number, "low confidence") for number in range(MOST_LISTED + 3)))

    assert "and 3 more, in the report" in job_text(job(draft))


def test_an_unchanged_day_says_so() -> None:
    assert day_text(Day((job(Draft()),), unchanged=True)).endswith("nothing was written.")
    assert "Nothing has changed" not in day_text(Day((job(Draft()),)))


class Screen(io.StringIO):
    """A stream that says that it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("stream", "quiet", "shown"),
    [(Screen(), False, True), (Screen(), True, False), (io.StringIO(), False, False)],
    ids=["terminal", "quiet", "no terminal"],
)
def test_progress_is_for_a_terminal_only(stream: io.StringIO, quiet: bool, shown: bool) -> None:
    progress = Progress(quiet=quiet, stream=stream)
    progress("hearing front.m4a", 30.0, 60.0)
    progress.close()

    assert ("50%" in stream.getvalue()) == shown
    assert (stream.getvalue() == "") != shown


def test_progress_tells_the_time_left_from_the_speed_of_this_run(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 10.0, 20.0])
    monkeypatch.setattr("pipeline.terminal.time.monotonic", lambda: next(clock))
    stream = Screen()
    progress = Progress(stream=stream)
    # A resumed run begins at 300 s: those cost nothing now and must not count as speed.
    for done in (300.0, 340.0, 380.0):
        progress("hearing front.m4a", done, 1000.0)

    assert "about 3 min left" in stream.getvalue().split("\r")[-1]
