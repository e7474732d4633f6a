"""One job on the desk: its draft with the edits on it, what it needs, and how an edit is taken in."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from threading import Lock
from typing import TYPE_CHECKING, Any

from pipeline import run
from pipeline.draft import Draft, Verdict, dump
from pipeline.edits import Edit, EditKind, TargetKind
from pipeline.edits_apply import Replayed, heard_on, replay
from pipeline.edits_find import key_of
from pipeline.errors import InputError
from pipeline.history import breaks, plate_of
from pipeline.keep import digest_of
from pipeline.review import Need, needs
from pipeline.store import jobs, machines, search
from pipeline.store.jobs import Facets, StoredJob
from pipeline.store.machines import PastFigure
from pipeline.store.tables import FigureRow, FollowUpRow, JobRow

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from pipeline.settings import Settings
    from pipeline.shop import Shop
    from pipeline.store.place import StorePlace
    from pipeline.store.store import Store

REMEMBERED = 160
"""Drafts that are held ready, so that an edit needs no reading of files: the machine's and the one with the edits on
it, of as many jobs as are reviewed at once. They share what no edit changed; a few hundred kilobytes a job."""

DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class OpenJob:
    """A job as a person sees it."""

    stored: StoredJob
    machine: Draft
    replayed: Replayed
    needs: tuple[Need, ...]
    breaks: dict[str, str] = field(default_factory=dict)
    past: tuple[PastFigure, ...] = ()
    """What was measured at its machine on other visits."""

    @property
    def draft(self) -> Draft:
        """The draft with the edits on it."""
        return self.replayed.draft


class Clash(InputError):
    """Two people, or one person in two windows, changed the same thing; what was typed last was not taken in."""

    http_status = 409


class Desk:
    """Opens jobs and takes edits in. One of these a process; safe for several threads."""

    def __init__(self, store: Store, shop: Shop | None = None) -> None:
        """Takes the store and the shop whose limits the checks use."""
        self.store = store
        self.shop = shop
        self._lock = Lock()
        self._drafts: OrderedDict[str, Any] = OrderedDict()

    def open(self, job_id: str, owner: str | None) -> OpenJob:
        """The job. Raises InputError when it is not this person's or has no draft yet."""
        with self.store.database.reading() as session:
            stored = jobs.job(session, job_id, owner)
            machine = self._machine(stored.row)
            replayed = self._replayed(stored.row, machine, stored.edits, stored.seen)
            opened = self._opened(session, stored, machine, replayed)
            session.expunge_all()
        return opened

    def take(
        self, job_id: str, owner: str | None, make: Callable[[OpenJob], Edit], *, seen: int, draft_key: str
    ) -> OpenJob:
        """Writes an edit down and gives the job as it stands then.

        `seen` and `draft_key` say what the person had before him. Raises Clash when the same entry was changed since,
        or the recording was heard again; InputError when the edit cannot be made. The same edit twice is harmless.
        """
        before = self.open(job_id, owner)
        if draft_key != (before.stored.row.draft_key or ""):
            raise Clash(
                "heard-again",
                "The recording was heard again meanwhile; this change was not saved.",
                "The page now shows the new reading: look, and change it there.",
            )
        edit = make(before)
        if before.stored.seen > seen:
            _refuse_clash(self._since(job_id, seen), edit)
        # Laid on before it is kept: an edit that cannot stand must never get into the log.
        laid = heard_on(before.replayed, edit) or self._laid(before.machine, (*before.stored.edits, edit))
        with self.store.database.writing() as session:
            row = session.get(JobRow, job_id)
            if row is None:
                raise jobs.no_such_job()
            newer = jobs.edits_since(session, job_id, before.stored.seen)
            _refuse_clash([other for _, other in newer if other.id != edit.id], edit)
            seq = jobs.add_edit(session, row, edit)
            alone = seq is not None and not newer and row.draft_key == before.stored.row.draft_key
            if seq is not None and alone:
                # Nobody else was here meanwhile: the edit and what follows from it are kept in one stroke.
                stored = replace(before.stored, row=row, edits=(*before.stored.edits, edit), seen=seq)
                after = _open_job(stored, before.machine, laid, before.past)
                self._write(session, row, after, before)
                if row.machine_id != before.stored.row.machine_id:
                    after = self._opened(session, stored, before.machine, laid)
        if alone:
            self._remember(_replay_key(row, after.stored.seen), laid)
        else:
            after = self.open(job_id, owner)
            self.refresh(after)
        return after

    def refresh(self, opened: OpenJob) -> None:
        """Writes down what lists, search and history show of the job."""
        with self.store.database.writing() as session:
            machines.one_at_a_time(session)
            row = session.get(JobRow, opened.stored.row.id)
            if row is not None:
                self._write(session, row, opened, None)

    def _write(self, session: Session, row: JobRow, opened: OpenJob, before: OpenJob | None) -> None:
        """The same inside a transaction. `before`: how the job stood when it was last written down, where known."""
        if before is not None and before.draft is opened.draft and before.needs == opened.needs:
            return
        names = tuple(recording.file_name for recording in opened.stored.recordings)
        recorded = [recording.recorded_at for recording in opened.draft.recordings if recording.recorded_at]
        jobs.set_facets(session, row, facets_of(opened, names, recorded[0] if recorded else row.created_at))
        if before is None or plate_of(before.draft) != plate_of(opened.draft):
            machines.link(session, row, opened.draft)

    def _opened(self, session: Session, stored: StoredJob, machine: Draft, replayed: Replayed) -> OpenJob:
        row = stored.row
        past = tuple(machines.measured_before(session, row.machine_id, row.owner, row.id)) if row.machine_id else ()
        return _open_job(stored, machine, replayed, past)

    def _since(self, job_id: str, seen: int) -> list[Edit]:
        with self.store.database.reading() as session:
            return [edit for _, edit in jobs.edits_since(session, job_id, seen)]

    def _machine(self, row: JobRow) -> Draft:
        key = row.draft_key or ""
        found = self._remembered(f"draft:{key}")
        if not isinstance(found, Draft):
            found = jobs.draft_of(self.store, row)
            self._remember(f"draft:{key}", found)
        return found

    def _replayed(self, row: JobRow, machine: Draft, edits: tuple[Edit, ...], seen: int) -> Replayed:
        key = _replay_key(row, seen)
        found = self._remembered(key)
        if not isinstance(found, Replayed):
            found = self._laid(machine, edits)
            self._remember(key, found)
        return found

    def _laid(self, machine: Draft, edits: tuple[Edit, ...]) -> Replayed:
        finish = partial(run.finish, shop=self.shop) if edits else None
        return replay(machine, edits, read=self._read, finish=finish)

    def _read(self, corrected: Draft) -> Draft:
        """The facts of corrected words; the same words are read once."""
        key = f"read:{digest_of(dump(corrected))}"
        found = self._remembered(key)
        if not isinstance(found, Draft):
            found = run.read(corrected)
            self._remember(key, found)
        return found

    def _remembered(self, key: str) -> object:
        with self._lock:
            if key in self._drafts:
                self._drafts.move_to_end(key)
            return self._drafts.get(key)

    def _remember(self, key: str, value: object) -> None:
        with self._lock:
            self._drafts[key] = value
            while len(self._drafts) > REMEMBERED:
                self._drafts.popitem(last=False)


def shop_of(place: StorePlace, settings: Settings) -> Shop | None:
    """The shop named in the settings, else the `shop.toml` of the store's folder, else none."""
    from pipeline.shop import load_shop

    path = settings.shop or place.home / "shop.toml"
    return load_shop(path) if settings.shop is not None or path.is_file() else None


def _open_job(stored: StoredJob, machine: Draft, replayed: Replayed, past: tuple[PastFigure, ...]) -> OpenJob:
    row = stored.row
    broken = breaks(replayed.draft, past, row.id, row.visit_day or row.created_at[:10]) if past else {}
    return OpenJob(stored, machine, replayed, tuple(needs(replayed, broken)), broken, past)


def _replay_key(row: JobRow, seen: int) -> str:
    return f"replayed:{row.id}:{row.draft_key}:{seen}"


def _refuse_clash(others: list[Edit], edit: Edit) -> None:
    """Raises Clash when one of the others is about the same entry, or changed words or took back something."""
    if edit.kind is EditKind.HEARD:
        return
    wide = (EditKind.UNDO, EditKind.REDO)
    for other in others:
        if other.id == edit.id or other.kind is EditKind.HEARD:
            continue
        same = other.target.kind is not TargetKind.JOB and key_of(other.target) == key_of(edit.target)
        if same or edit.kind in wide or (other.kind in wide and edit.kind in wide):
            said = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in other.now.items())
            raise Clash(
                "changed-elsewhere",
                f"{other.who} changed this in another window ({said or other.kind.value}); yours was not saved.",
                "The page now shows both: look, and change it again if yours is right.",
            )


def facets_of(opened: OpenJob, file_names: tuple[str, ...], recorded_at: str) -> Facets:
    """What lists, search and history show. `recorded_at` stands in for the day when nobody said it."""
    draft = opened.draft
    visit, machine = draft.visit, draft.equipment
    day = visit.date.value if visit.date is not None and _is_day(visit.date.value) else recorded_at[:10]
    words = [said.value for said in (machine.make, machine.type) if said is not None]
    figures = [
        FigureRow(
            day=day,
            fact_id=reading.id,
            quantity=reading.quantity.value,
            subject=reading.subject,
            place=reading.place or "",
            role=reading.role.value,
            stage=reading.stage.value if reading.stage else "",
            qualifiers=" ".join(qualifier.value for qualifier in reading.qualifiers),
            value=reading.value,
            unit=reading.unit or "",
            doubtful=bool(reading.confirm),
        )
        for reading in draft.readings
        if reading.value is not None and reading.superseded_by is None
    ]
    return Facets(
        title=" ".join(words) or draft.name or opened.stored.row.name,
        customer=visit.customer.value if visit.customer else "",
        site=visit.site.value if visit.site else "",
        serial=machine.serial.value if machine.serial else "",
        model=machine.model.value if machine.model else "",
        visit_day=day,
        doubts=sum(need.kind in ("conflict", "figure", "listen", "entry") for need in opened.needs),
        outside=sum(check.verdict is Verdict.OUT_OF_TOLERANCE for check in draft.checks),
        gaps=len(draft.gaps),
        said=search.text_of(draft, file_names),
        figures=tuple(figures),
        follow_ups=tuple(
            FollowUpRow(text=item.text, when_said=item.when or "", due=item.date) for item in draft.follow_ups
        ),
    )


def _is_day(text: str) -> bool:
    if not DAY.fullmatch(text):
        return False
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True
