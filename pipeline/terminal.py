"""What the terminal shows: progress while something runs, and at the end what came of each job."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, TextIO

from pipeline.errors import InputError, ReportError

if TYPE_CHECKING:
    from extractors.facts import Reading
    from pipeline.day import Day, Job
    from pipeline.draft import Draft

WIDTH = 100
LABEL = 18
MOST_LISTED = 8


STOPPED = InputError("stopped", "Stopped.", "What was finished is kept; give the same command again to go on.")


def tell_error(error: ReportError, about: str = "") -> None:
    """One sentence for what happened and one for what to do, on the error stream; `about` names what it is about."""
    named = about and Path(about).name not in error.message
    print(f"jobtape: {about}: {error}" if named else f"jobtape: {error}", file=sys.stderr)


def tell_faults(day: Day) -> int:
    """Everything that went wrong, a sentence each on the error stream; gives the exit status, 0 when nothing did."""
    status = 0
    for fault in day.faults:
        tell_error(fault.error, about=fault.what)
        status = status or fault.error.exit_status
    for job in day.jobs:
        for problem in job.draft.problems:
            print(f"jobtape: {job.name}: {problem.message}", file=sys.stderr)
            # What could not be heard lies with the recording; all else is a fault of the program.
            status = status or (InputError.exit_status if problem.stage == "hear" else ReportError.exit_status)
    return status


class Progress:
    """One line on the error stream that says what is done and how long it will take; silent where nobody looks."""

    def __init__(self, *, quiet: bool = False, stream: TextIO | None = None) -> None:
        """Shows nothing when `quiet`, or when the stream is not a terminal."""
        self.stream = stream or sys.stderr
        self.shown = self.stream.isatty() and not quiet
        self.what = ""
        self.began = 0.0
        self.at_first = 0.0
        self.drawn = 0.0

    def __call__(self, what: str, done: float, of: float) -> None:
        """Tells how many seconds of sound (or jobs) of how many are done."""
        if not self.shown:
            return
        now = time.monotonic()
        if what != self.what:
            self.what, self.began, self.at_first = what, now, done
        elif now - self.drawn < 0.2 and done < of:
            return
        self.drawn = now
        share = min(1.0, done / of) if of > 0 else 0.0
        bar = "=" * round(share * 24)
        text = f"{what}  [{bar:<24}] {share:4.0%}{self._left(now, done, of)}"
        self.stream.write(f"\r\x1b[K{text[: WIDTH - 1]}")
        self.stream.flush()

    def _left(self, now: float, done: float, of: float) -> str:
        """The time left, from the speed since this part began; nothing before there is something to go by."""
        fresh = done - self.at_first
        if now - self.began < 3 or fresh <= 0 or done >= of:
            return ""
        seconds = (of - done) * (now - self.began) / fresh
        return f"  about {seconds / 60:.0f} min left" if seconds >= 90 else f"  about {seconds:.0f} s left"

    def close(self) -> None:
        """Clears the line."""
        if self.shown and self.what:
            self.stream.write("\r\x1b[K")
            self.stream.flush()


def day_text(day: Day) -> str:
    """What came of the call: a block for each job, then notes; the faults are told apart on the error stream."""
    blocks = [job_text(job) for job in day.jobs]
    blocks += [fill(note, WIDTH) for note in day.notes]
    if day.unchanged and day.jobs:
        blocks.append("Nothing has changed since the last call; nothing was written.")
    return "\n\n".join(blocks)


def job_text(job: Job) -> str:
    """What was found in a job, what to listen to again, what is out of tolerance, and where the files are."""
    draft = job.draft
    rows = [
        ("found", found(draft)),
        ("second listen", second_listen(draft)),
        ("out of tolerance", out_of_tolerance(draft)),
        ("not said", "\n".join(_listed([gap.question for gap in draft.gaps])) or "nothing that a report needs"),
        ("files", _files(job)),
    ]
    lines = [job.name, *(line for label, text in rows if text for line in _row(label, text))]
    return "\n".join(lines)


def found(draft: Draft) -> str:
    """The machine, and how much of each kind was found."""
    machine = " ".join(said.value for said in (draft.equipment.make, draft.equipment.type) if said is not None)
    counts = [
        (len(draft.readings), "figure"),
        (len(draft.findings), "finding"),
        (len(draft.actions), "action"),
        (len(draft.parts), "part"),
        (len(draft.follow_ups), "follow-up"),
        (len(draft.unplaced), "figure that is no reading"),
    ]
    words = [_count(number, noun) for number, noun in counts if number]
    return "; ".join(part for part in (machine, ", ".join(words)) if part) or "no facts"


def second_listen(draft: Draft) -> str:
    """How many figures are in doubt, with the reason for each."""
    doubtful = [reading for reading in draft.readings if reading.confirm and reading.superseded_by is None]
    if not draft.readings:
        return ""
    if not doubtful:
        return f"no figure of {len(draft.readings)} is in doubt for a stated reason"
    lines = [f"{reading.id} {reading_text(reading)}: {'; '.join(reading.confirm)}" for reading in doubtful]
    return "\n".join([f"{len(doubtful)} of {_count(len(draft.readings), 'figure')}", *_listed(lines)])


def out_of_tolerance(draft: Draft) -> str:
    """The checks that a figure did not pass, each with its sentence."""
    failed = [check for check in draft.checks if check.verdict == "out_of_tolerance"]
    if not failed:
        return f"nothing, of {_count(len(draft.checks), 'comparison')}" if draft.checks else "nothing was compared"
    return "\n".join([f"{len(failed)} of {_count(len(draft.checks), 'comparison')}", *_listed(_sentences(draft))])


def _sentences(draft: Draft) -> Iterator[str]:
    """Each failed check: before the repair or after it, and its sentence."""
    for check in draft.checks:
        if check.verdict == "out_of_tolerance":
            when = {"as_found": "as found: ", "as_left": "as left: "}.get(check.stage or "", "")
            yield f"{check.id} {when}{check.message}"


def reading_text(reading: Reading) -> str:
    """A reading in few words: subject, place, figure with unit."""
    from pipeline.words import load_words
    from pipeline.words.figures import shown

    place = f" {reading.place}" if reading.place else ""
    return f"{reading.subject}{place} {shown(reading, load_words()).text}"


def _files(job: Job) -> str:
    """The folder with what lies in it, forms of one paper together; the report last, for it is what one opens."""
    forms: dict[str, list[str]] = {}
    for name in job.files:
        stem, _, form = name.rpartition(".")
        forms.setdefault(stem, []).append(form)
    listed = [f"{stem}.{form}" if len(every) == 1 else f"{stem} ({', '.join(every)})"
              for stem, every in forms.items() for form in every[:1]]  # fmt: skip
    where = [f"{job.folder}: {'; '.join(listed)}"] if listed else []
    return "\n".join([*where, str(job.folder / "report.html")] if "report.html" in job.files else where)


def _count(number: int, noun: str) -> str:
    if number == 1:
        return f"1 {noun}"
    return f"{number} {'figures that are no reading' if noun.endswith('reading') else noun + 's'}"


def _listed(lines: Iterable[str]) -> list[str]:
    """The first few lines, and how many more there are."""
    every = list(lines)
    more = len(every) - MOST_LISTED
    return [*every[:MOST_LISTED], f"and {more} more, in the report"] if more > 0 else every


def _row(label: str, text: str) -> Iterator[str]:
    """The label and the text beside it; sentences are wrapped, paths are left in one piece to be copied."""
    lead = f"  {label:<{LABEL}}"
    for line in text.splitlines():
        whole = label == "files"
        for piece in [line] if whole else fill(line, WIDTH - len(lead), break_on_hyphens=False).splitlines():
            yield f"{lead}{piece}"
            lead = " " * (LABEL + 2)
