"""Machines and their past: which job belongs to which machine, what was measured over the years, what is still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import delete, func, or_, select, text, update
from sqlalchemy.orm import Session

from extractors.facts import Role
from pipeline.draft import Draft
from pipeline.errors import InputError
from pipeline.history import Plate, likeness, plate_of, serial_key
from pipeline.store.store import new_id, note
from pipeline.store.tables import FigureRow, FollowUpRow, JobRow, LikenessRow, MachineRow, now


@dataclass(frozen=True)
class MachinePast:
    """A machine with its visits (the newest first), its figures (the oldest first) and its open follow-ups."""

    machine: MachineRow
    jobs: tuple[JobRow, ...]
    figures: tuple[FigureRow, ...]
    follow_ups: tuple[FollowUpRow, ...]


def no_such_machine() -> InputError:
    """The error for a machine that is not there."""
    fault = InputError("no-such-machine", "That machine is not here.", "Look for it by its serial or site.")
    fault.http_status = 404
    return fault


def plate(row: MachineRow) -> Plate:
    """What a stored machine is known by."""
    return Plate(row.type, row.make, row.model, row.serial, row.refrigerant, row.site, row.location, row.customer)


def one_at_a_time(session: Session) -> None:
    """Waits until nobody else changes what is known of machines, and keeps others waiting until the transaction ends.

    Two reports of one new serial at the same moment would make two machines of it, and a machine could go while
    another job is held against it. To be called before anything is written. SQLite has one writer anyway.
    """
    if session.connection().dialect.name == "postgresql":
        session.execute(text("SELECT pg_advisory_xact_lock(hashtext('jobtape machines'))"))


def link(session: Session, row: JobRow, draft: Draft) -> None:
    """Gives a job its machine: the one of the same serial, else one of its own; near ones are proposed to a person.

    A machine that a person chose for the job stays while its serial does not say otherwise.
    """
    wanted = plate_of(draft)
    if not wanted.tells:
        return
    mine = session.get(MachineRow, row.machine_id) if row.machine_id else None
    others = _near(session, row, wanted)
    sure = [other for other in others if likeness(plate(other), wanted).same]
    if mine is None or (likeness(plate(mine), wanted).other_serial and not _chosen(session, row, mine)):
        alone = mine is not None and _alone(session, row, mine)
        if len(sure) == 1:
            _move(session, row, sure[0])
        elif mine is None or not alone:
            mine = _new(session, wanted)
            _move(session, row, mine)
        if alone and mine is not None and len(sure) == 1:
            session.delete(mine)
    machine = session.get(MachineRow, row.machine_id)
    if machine is not None and _alone(session, row, machine):
        _write(machine, wanted)
    elif machine is not None:
        _fill(machine, wanted)
    _propose(session, row, [other for other in others if other.id != row.machine_id], wanted)


def _near(session: Session, row: JobRow, wanted: Plate) -> list[MachineRow]:
    """Machines worth a look: of the same or nearly the same serial, of the same site, or of the same model."""
    conditions = []
    if wanted.serial:
        key = serial_key(wanted.serial)
        conditions += [MachineRow.serial_key == key]
        conditions += [func.length(MachineRow.serial_key).between(len(key) - 1, len(key) + 1)]
    if wanted.site:
        conditions.append(func.lower(MachineRow.site) == wanted.site.lower())
    if wanted.model:
        conditions.append(func.lower(MachineRow.model) == wanted.model.lower())
    if not conditions:
        return []
    owners = select(JobRow.machine_id).where(JobRow.owner == row.owner)
    query = select(MachineRow).where(or_(*conditions), MachineRow.id.in_(owners)).limit(500)
    alike = ((machine, likeness(plate(machine), wanted)) for machine in session.scalars(query))
    return [machine for machine, how in alike if how.same or how.why]


def _alone(session: Session, row: JobRow, machine: MachineRow) -> bool:
    """Whether no other job is about this machine."""
    count = select(func.count()).where(JobRow.machine_id == machine.id, JobRow.id != row.id)
    return not session.scalar(count)


def _chosen(session: Session, row: JobRow, machine: MachineRow) -> bool:
    """Whether a person said that the job is about this machine."""
    there = session.get(LikenessRow, (row.id, machine.id))
    return there is not None and there.state == "accepted"


def _new(session: Session, wanted: Plate) -> MachineRow:
    machine = MachineRow(id=new_id(), created_at=now())
    _write(machine, wanted)
    session.add(machine)
    session.flush()
    return machine


def _write(machine: MachineRow, wanted: Plate) -> None:
    """A machine that is known from one job alone is what that job says."""
    for name in Plate.__dataclass_fields__:
        setattr(machine, name, getattr(wanted, name))
    machine.serial_key = serial_key(wanted.serial)


def _fill(machine: MachineRow, wanted: Plate) -> None:
    """A machine that is known from several jobs only gains what nobody had said of it."""
    for name in Plate.__dataclass_fields__:
        if not getattr(machine, name):
            setattr(machine, name, getattr(wanted, name))
    machine.serial_key = serial_key(machine.serial)


def _move(session: Session, row: JobRow, machine: MachineRow) -> None:
    row.machine_id = machine.id
    for table in (FigureRow, FollowUpRow):
        session.execute(update(table).where(table.job_id == row.id).values(machine_id=machine.id))
    session.flush()


def _propose(session: Session, row: JobRow, others: Sequence[MachineRow], wanted: Plate) -> None:
    """Puts near machines to a person, once; what he refused is not put to him again."""
    told = {tie.machine_id: tie for tie in session.scalars(select(LikenessRow).where(LikenessRow.job_id == row.id))}
    near = {other.id for other in others}
    for machine_id, tie in told.items():
        if tie.state == "open" and machine_id not in near:
            session.delete(tie)
    for other in others:
        if other.id not in told:
            why = likeness(plate(other), wanted).why or f"It has the same serial, {other.serial}."
            session.add(LikenessRow(job_id=row.id, machine_id=other.id, why=why, state="open"))


def decide(session: Session, row: JobRow, machine_id: str, *, same: bool, who: str) -> None:
    """A person says whether a job is about a proposed machine. Raises InputError when it was not proposed."""
    one_at_a_time(session)
    tie = session.get(LikenessRow, (row.id, machine_id))
    machine = session.get(MachineRow, machine_id)
    if tie is None or machine is None:
        raise no_such_machine()
    tie.state = "accepted" if same else "refused"
    if same:
        before = session.get(MachineRow, row.machine_id) if row.machine_id else None
        alone = before is not None and before.id != machine_id and _alone(session, row, before)
        _move(session, row, machine)
        if alone and before is not None:
            session.execute(delete(LikenessRow).where(LikenessRow.machine_id == before.id))
            session.delete(before)
    note(session, who, "machine", row.id, f"{'same as' if same else 'not'} {machine_id}")


def past(session: Session, machine_id: str, owner: str | None) -> MachinePast:
    """A machine's past. Raises InputError when there is none such, or none of this person's jobs is about it."""
    machine = session.get(MachineRow, machine_id)
    query = select(JobRow).where(JobRow.machine_id == machine_id, JobRow.joined_to.is_(None))
    if owner is not None:
        query = query.where(JobRow.owner == owner)
    jobs = tuple(session.scalars(query.order_by(JobRow.visit_day.desc(), JobRow.created_at.desc())))
    if machine is None or not jobs:
        raise no_such_machine()
    ids = [job.id for job in jobs]
    figures = select(FigureRow).where(FigureRow.job_id.in_(ids)).order_by(FigureRow.day, FigureRow.seq)
    open_ones = select(FollowUpRow).where(FollowUpRow.job_id.in_(ids), FollowUpRow.done_at.is_(None))
    return MachinePast(machine, jobs, tuple(session.scalars(figures)), tuple(session.scalars(open_ones)))


@dataclass(slots=True)
class PastFigure:
    """A measured figure of another visit, without the weight of a row that could be changed."""

    job_id: str
    day: str
    quantity: str
    subject: str
    place: str
    role: str
    stage: str
    qualifiers: str
    value: float
    unit: str
    doubtful: bool


def measured_before(session: Session, machine_id: str, owner: str, job_id: str) -> list[PastFigure]:
    """What was measured at a machine on this person's other visits, the oldest first."""
    columns = [getattr(FigureRow, name) for name in PastFigure.__dataclass_fields__]
    query = (
        select(*columns)
        .join(JobRow, JobRow.id == FigureRow.job_id)
        .where(JobRow.machine_id == machine_id, JobRow.joined_to.is_(None), JobRow.owner == owner)
        .where(JobRow.id != job_id, FigureRow.role == Role.MEASURED.value)
        .order_by(FigureRow.day, FigureRow.seq)
    )
    return [PastFigure(*row) for row in session.execute(query)]


def machines(session: Session, owner: str | None, words: str = "") -> list[MachineRow]:
    """Machines whose plate, site or customer holds the words; all for none; by site and type."""
    query = select(MachineRow)
    if owner is not None:
        query = query.where(MachineRow.id.in_(select(JobRow.machine_id).where(JobRow.owner == owner)))
    for word in words.split():
        like = f"%{word.lower().replace('%', '').replace('_', '')}%"
        columns = ("type", "make", "model", "serial", "serial_key", "site", "customer", "location")
        query = query.where(or_(*(func.lower(getattr(MachineRow, name)).like(like) for name in columns)))
    return list(session.scalars(query.order_by(MachineRow.site, MachineRow.type, MachineRow.id).limit(500)))


def due(session: Session, owner: str | None) -> list[tuple[FollowUpRow, JobRow]]:
    """Follow-ups that nobody ticked off, those with a day first."""
    query = select(FollowUpRow, JobRow).join(JobRow, JobRow.id == FollowUpRow.job_id)
    query = query.where(FollowUpRow.done_at.is_(None), JobRow.joined_to.is_(None))
    if owner is not None:
        query = query.where(JobRow.owner == owner)
    rows = session.execute(query.order_by(FollowUpRow.due.is_(None), FollowUpRow.due, FollowUpRow.seq).limit(500))
    return [(follow_up, job) for follow_up, job in rows]


def tick(session: Session, seq: int, owner: str | None, who: str, *, done: bool) -> JobRow:
    """Ticks a follow-up off, or takes that back; gives its job. Raises InputError when it is not this person's."""
    follow_up = session.get(FollowUpRow, seq)
    job = session.get(JobRow, follow_up.job_id) if follow_up else None
    if follow_up is None or job is None or (owner is not None and job.owner != owner):
        raise InputError("no-such-follow-up", "That follow-up is not here.", "Reload the page.")
    follow_up.done_at, follow_up.done_by = (now(), who) if done else (None, None)
    note(session, who, "follow-up", job.id, "done" if done else "open again")
    return job


def known_names(session: Session, owner: str | None) -> dict[str, list[str]]:
    """What the store knows by name: serials, models, sites and customers, for the repair of spelled ones."""
    rows = machines(session, owner)
    names: dict[str, list[str]] = {"serial": [], "model": [], "site": [], "customer": []}
    for row in rows:
        for name, known in names.items():
            if (value := getattr(row, name)) and value not in known:
                known.append(value)
    return names
