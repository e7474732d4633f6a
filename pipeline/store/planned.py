"""The day's list that the office brings, and which recording's job each of its lines is about."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from pipeline.errors import InputError
from pipeline.store.jobs import checked_day
from pipeline.store.people import person_named
from pipeline.store.search import phrase
from pipeline.store.store import note
from pipeline.store.tables import JobRow, SearchRow
from pipeline.store.tables_people import PersonRow, PlannedRow

COLUMNS = ("customer", "site", "reference", "technician")
MOST_LINES = 2000
LONGEST = 200
SHORTEST_SAID = 4
"""Letters of a name or number that has to be said before it counts: "A1" is said in every other sentence."""


@dataclass(frozen=True)
class Line:
    """A line of the list as it was brought."""

    customer: str
    site: str
    reference: str
    technician: str


@dataclass(frozen=True)
class Planned:
    """A line with its technician's name, its job, and the jobs of that day that it could be."""

    row: PlannedRow
    technician: str
    job: JobRow | None
    candidates: tuple[JobRow, ...]


def read_list(text: str) -> list[Line]:
    """The lines of a CSV with a first row of names; commas or semicolons. Raises InputError, naming the line."""
    text = text.lstrip("\ufeff")
    first = text.partition("\n")[0]
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=";" if ";" in first else ",", strict=True))
    except csv.Error as fault:
        raise _wrong("it is no valid CSV") from fault
    names = [name.strip().lower() for name in rows[0]] if rows else []
    if missing := [name for name in COLUMNS if name not in names]:
        raise _wrong(f"its first row has no {' and no '.join(missing)}")
    found = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(names):
            raise _wrong(f"line {number} has {len(row)} cells, its first row {len(names)}")
        cells = {name: " ".join(cell.split()) for name, cell in zip(names, row, strict=True)}
        if any(len(cell) > LONGEST or not cell.isprintable() for cell in cells.values()):
            raise _wrong(f"line {number} has a cell that is too long or unreadable")
        if not cells["technician"] or not (cells["customer"] or cells["site"]):
            raise _wrong(f"line {number} needs a technician, and a customer or a site")
        found.append(Line(*(cells[name] for name in COLUMNS)))
    if len(found) > MOST_LINES:
        raise _wrong(f"it has more than {MOST_LINES} lines")
    if not found:
        raise _wrong("it has no line")
    return found


def _wrong(what: str) -> InputError:
    return InputError(
        "wrong-list",
        f"The list cannot be used: {what}.",
        f"Write a first row with {', '.join(COLUMNS)}, then one line a job.",
    )


def bring(session: Session, day: str, lines: Iterable[Line], who: str) -> int:
    """Takes the lines of a day in, all or none; gives how many were new. Raises InputError for an unknown name."""
    day, new = checked_day(day), 0
    for line in lines:
        person = person_named(session, line.technician)
        if person is None:
            raise _wrong(f"nobody here is called {line.technician}")
        folded = "\x1f".join((day, person.id, *(phrase(said) for said in (line.customer, line.site, line.reference))))
        key = hashlib.sha256(folded.encode()).hexdigest()
        if session.scalar(select(PlannedRow.seq).where(PlannedRow.key == key)) is not None:
            continue
        session.add(
            PlannedRow(
                day=day,
                technician=person.id,
                customer=line.customer,
                site=line.site,
                reference=line.reference,
                key=key,
                matched_by="",
            )
        )
        session.flush()
        new += 1
    note(session, who, "list:bring", detail=f"{day}, {new} new")
    return new


def match(session: Session, day: str) -> None:
    """Gives the open lines of a day the jobs in which they were named, where only one job and one line fit.

    A line is named in a job when its reference was said, or its site, or, without a site, its customer. That two fit,
    or none, is left to a person.
    """
    open_lines = [line for line in _lines(session, day) if line.job_id is None]
    fits: dict[int, list[tuple[str, str]]] = {}
    for line in open_lines:
        said = {job.id: _said(session, job) for job in _candidates(session, line)}
        # A reference tells more than a site, and the site more than a customer who has many.
        for what in ("reference", "site", "customer"):
            wanted = phrase(getattr(line, what))
            if len(wanted) < SHORTEST_SAID or (what == "customer" and line.site):
                continue
            # One plain word may be said of anything ("the dock"): it counts where the visit's own place is told.
            wide = " " in wanted or any(letter.isdigit() for letter in wanted)
            if named := [
                (job_id, what) for job_id, (told, heard) in said.items() if f" {wanted} " in (told + heard * wide)
            ]:
                fits[line.seq] = named
                break
    claims = [job_id for found in fits.values() for job_id, _ in found]
    for line in open_lines:
        found = fits.get(line.seq, [])
        if len(found) == 1 and claims.count(found[0][0]) == 1:
            line.job_id, line.matched_by = found[0][0], f"the {found[0][1]} was said"
    session.flush()


def _said(session: Session, job: JobRow) -> tuple[str, str]:
    """Customer and site of a job, and everything that was said in it; folded, with spaces around each word."""
    kept = session.scalar(select(SearchRow.folded).where(SearchRow.job_id == job.id)) or ""
    return f" {phrase(job.customer)} | {phrase(job.site)} |", f" {kept} "


def _lines(session: Session, day: str) -> list[PlannedRow]:
    rows = select(PlannedRow).where(PlannedRow.day == day)
    return list(session.scalars(rows.order_by(PlannedRow.technician, PlannedRow.seq)))


def _candidates(session: Session, line: PlannedRow) -> list[JobRow]:
    """The technician's jobs of that day that no line has yet."""
    taken = select(PlannedRow.job_id).where(PlannedRow.job_id.is_not(None))
    day = func.coalesce(JobRow.visit_day, func.substr(JobRow.created_at, 1, 10))
    query = select(JobRow).where(JobRow.owner == line.technician, JobRow.joined_to.is_(None), day == line.day)
    query = query.where(JobRow.job_state == "ready", JobRow.id.not_in(taken))
    return list(session.scalars(query.order_by(JobRow.created_at, JobRow.id)))


def of_day(session: Session, day: str) -> list[Planned]:
    """The lines of a day, with what each was matched to or could be."""
    return [
        Planned(
            row,
            session.get_one(PersonRow, row.technician).name,
            session.get(JobRow, row.job_id) if row.job_id else None,
            () if row.job_id else tuple(_candidates(session, row)),
        )
        for row in _lines(session, day)
    ]


def of_job(session: Session, job_id: str) -> PlannedRow | None:
    """The line that a job was matched to."""
    return session.scalar(select(PlannedRow).where(PlannedRow.job_id == job_id))


def settle(session: Session, seq: int, job_id: str | None, who: str) -> str:
    """A person says which job a line is, or with None that it is not the one; gives the day.

    Raises InputError when the line or the job is not there, or the job is not one that the line could be.
    """
    line = session.get(PlannedRow, seq)
    if line is None:
        raise InputError("no-such-line", "That line is not in the list any more.", "Reload the page.")
    if job_id is not None and (line.job_id or job_id not in {job.id for job in _candidates(session, line)}):
        raise InputError("no-such-job", "That job was given to another line meanwhile.", "Reload the page.")
    line.job_id, line.matched_by = job_id, who if job_id else ""
    note(session, who, "list:match" if job_id else "list:unmatch", job_id, f"line {seq}")
    return line.day
