"""How the store is doing: whether it can take work in, and the figures that a shop watches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlalchemy import func, select

from pipeline.errors import ReportError
from pipeline.store import tally
from pipeline.store.database import HEAD, version_of
from pipeline.store.files import KEEP_FREE, free_bytes
from pipeline.store.store import Store
from pipeline.store.tables import JobRow, RecordingRow
from pipeline.store.tables_engine import WorkerRow

WINDOW = timedelta(minutes=10)
NO_FILE = "0" * 64


@dataclass(frozen=True)
class Metric:
    """One figure with its kind, its meaning and its labels, as Prometheus' text format has them."""

    name: str
    kind: str
    help: str
    values: tuple[tuple[str, float], ...]


def unready(store: Store) -> dict[str, str]:
    """What keeps the store from taking work in: the part and one sentence; empty when all is well."""
    wrong: dict[str, str] = {}
    try:
        if version_of(store.database) != HEAD:
            wrong["database"] = "Its tables are of another version of this program."
    except ReportError as fault:
        wrong["database"] = fault.message
    try:
        store.files.has(NO_FILE)
    except ReportError as fault:
        wrong["files"] = fault.message
    if free_bytes(store.place.home) < KEEP_FREE:
        wrong["disk"] = "Less room is left than uploads need to leave free."
    return wrong


def metrics(store: Store, now: datetime) -> list[Metric]:
    """The figures of this moment, of the whole store whichever machine is asked. Raises StoreError when it is away."""
    with store.database.reading() as session:
        queue = dict.fromkeys(("waiting", "hearing"), 0.0)
        for state, count in session.execute(
            select(RecordingRow.state, func.count()).where(RecordingRow.state.in_(queue)).group_by(RecordingRow.state)
        ):
            queue[state] = count
        oldest = session.scalar(
            select(func.min(func.coalesce(RecordingRow.queued_at, RecordingRow.created_at))).where(
                RecordingRow.state.in_(queue)
            )
        )
        since = (now - WINDOW).strftime("%Y-%m-%dT%H:%M:%SZ")
        lately = session.scalar(select(func.sum(RecordingRow.duration_s)).where(RecordingRow.heard_at >= since)) or 0.0
        failed = session.scalar(select(func.count()).where(JobRow.job_state == "failed")) or 0
        workers = session.scalar(select(func.count()).select_from(WorkerRow)) or 0
        counts = tally.counts(session)
    age = (now - datetime.fromisoformat(oldest)).total_seconds() if oldest else 0.0
    return [
        Metric(
            "jobtape_queue_length", "gauge", "Recordings that wait or are being heard.",
            tuple((f'state="{state}"', count) for state, count in queue.items()),
        ),
        Metric("jobtape_queue_oldest_seconds", "gauge", "Age of the oldest of them.", (("", max(0.0, age)),)),
        Metric(
            "jobtape_audio_seconds_per_second", "gauge", "Audio heard for each second of the last ten minutes.",
            (("", lately / WINDOW.total_seconds()),),
        ),
        Metric("jobtape_jobs_failed", "gauge", "Jobs that are set aside just now.", (("", failed),)),
        Metric("jobtape_workers", "gauge", "Worker processes of a shared store, one job each.", (("", workers),)),
        *(
            Metric(name, "counter", text, (("", counts.get(key, 0.0)),))
            for name, key, text in (
                ("jobtape_audio_heard_seconds_total", "audio_s", "Audio heard so far."),
                ("jobtape_hearing_seconds_total", "hearing_s", "Time that workers spent on it."),
                ("jobtape_recordings_heard_total", "heard", "Recordings heard so far."),
                ("jobtape_failures_total", "failed", "Recordings set aside so far."),
            )
        ),
        Metric("jobtape_free_bytes", "gauge", "Room on this machine's disk.", (("", free_bytes(store.place.home)),)),
    ]  # fmt: skip


def text_of(found: list[Metric]) -> Iterator[str]:
    """The lines of Prometheus' text format, version 0.0.4."""
    for metric in found:
        yield f"# HELP {metric.name} {metric.help}"
        yield f"# TYPE {metric.name} {metric.kind}"
        for labels, value in metric.values:
            yield f"{metric.name}{{{labels}}} {value:.15g}" if labels else f"{metric.name} {value:.15g}"


def present() -> datetime:
    """The present moment in UTC."""
    return datetime.now(UTC)
