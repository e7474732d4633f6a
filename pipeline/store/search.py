"""Finding jobs by anything said or written: one folded text a job, indexed by the database's own means."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from functools import lru_cache

from sqlalchemy import delete, select, text
from sqlalchemy.orm import Session

from extractors.facts import Equipment, Frozen, Said, Visit
from pipeline.draft import Draft
from pipeline.store.tables import JobRow, SearchRow

WORD = re.compile(r"[a-z0-9]+")
MOST = 200


def fold(said: str) -> str:
    """The words of a text without accents, case and marks, so that both databases cut it into the same words.

    "R-404A" is kept as "r 404a" and as "r404a", so that both ways of typing it find it.
    """
    return " ".join(filter(None, map(_fold_line, said.splitlines())))


@lru_cache(maxsize=16384)
def _fold_line(said: str) -> str:
    """One line folded; an edit changes few of a job's lines."""
    plain = _plain(said)
    words = WORD.findall(plain)
    joined = ["".join(WORD.findall(word)) for word in plain.split() if len(WORD.findall(word)) > 1]
    return " ".join([*words, *joined])


def phrase(said: str) -> str:
    """The words of a text alone, as they stand one after another in what `fold` gives."""
    return " ".join(WORD.findall(_plain(said)))


def text_of(draft: Draft, file_names: tuple[str, ...] = ()) -> str:
    """Everything that was said and written in a draft."""
    return "\n".join([draft.name, *file_names, *_texts(draft)])


def _texts(draft: Draft) -> Iterator[str]:
    for group in (draft.visit, draft.equipment, *draft.other_equipment):
        yield from _fields(group)
    for segment in draft.transcript.segments:
        yield segment.text
    if draft.complaint is not None:
        yield draft.complaint.text
    for finding in draft.findings:
        yield f"{finding.text} {finding.component} {finding.condition.replace('_', ' ')}"
    yield from (action.text for action in draft.actions)
    yield from (follow_up.text for follow_up in draft.follow_ups)
    for part in draft.parts:
        yield " ".join(filter(None, (part.description, part.part_number, part.serial, part.rating)))
    for reading in draft.readings:
        yield " ".join(filter(None, (reading.subject, reading.place)))
    yield draft.summary


def _fields(group: Visit | Equipment | Frozen) -> Iterator[str]:
    for name in type(group).model_fields:
        said = getattr(group, name)
        if isinstance(said, Said):
            yield said.value


def put(session: Session, job_id: str, said: str) -> None:
    """Keeps the text of a job for searching, in place of the one before."""
    folded = fold(said)
    row = session.scalar(select(SearchRow).where(SearchRow.job_id == job_id))
    if row is None:
        session.add(SearchRow(job_id=job_id, folded=folded))
    elif row.folded != folded:
        row.folded = folded


def drop(session: Session, job_id: str) -> None:
    """Takes a job out of the search."""
    session.execute(delete(SearchRow).where(SearchRow.job_id == job_id))


def find(
    session: Session,
    words: str,
    *,
    since: str | None = None,
    until: str | None = None,
    owner: str | None = None,
    most: int = MOST,
) -> list[JobRow]:
    """The jobs that hold all the words, the newest visit first; the last word may be only begun.

    `since` and `until` are days, ISO 8601, both included; `owner` whose jobs, None for all. No words give nothing.
    """
    asked = WORD.findall(_plain(words))
    if not asked:
        return []
    sqlite = session.connection().dialect.name == "sqlite"
    # Whose they are is asked where the most are counted: else the jobs of others would crowd his own out.
    ids = (_sqlite if sqlite else _postgresql)(session, asked, owner, most)
    query = select(JobRow).where(JobRow.id.in_(ids), JobRow.joined_to.is_(None))
    if since:
        query = query.where(JobRow.visit_day >= since)
    if until:
        query = query.where(JobRow.visit_day <= until)
    return list(session.scalars(query.order_by(JobRow.visit_day.desc(), JobRow.created_at.desc())))


def _plain(said: str) -> str:
    return "".join(
        letter for letter in unicodedata.normalize("NFKD", said).casefold() if not unicodedata.combining(letter)
    )


def _sqlite(session: Session, words: list[str], owner: str | None, most: int) -> list[str]:
    asked = " ".join(f'"{word}"' for word in words) + "*"
    tables = "search_index i JOIN search s ON s.seq = i.rowid"
    return _ids(session, tables, "search_index MATCH :asked", asked, owner, most)


def _postgresql(session: Session, words: list[str], owner: str | None, most: int) -> list[str]:
    asked = " & ".join(words) + ":*"
    return _ids(session, "search s", "s.words @@ to_tsquery('simple', :asked)", asked, owner, most)


def _ids(session: Session, tables: str, match: str, asked: str, owner: str | None, most: int) -> list[str]:
    values: dict[str, str | int] = {"asked": asked, "most": most}
    if owner is not None:
        tables, match, values["owner"] = (
            f"{tables} JOIN job j ON j.id = s.job_id",
            f"{match} AND j.owner = :owner",
            owner,
        )
    statement = text(f"SELECT s.job_id FROM {tables} WHERE {match} ORDER BY s.seq DESC LIMIT :most")
    return list(session.scalars(statement, values))
