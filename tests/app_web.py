"""The pages for tests: an engine that only notes what it was given."""

from __future__ import annotations

from sqlalchemy.orm import Session

from pipeline.store.tables import RecordingRow

BASE = "http://localhost"
FROM_HERE = {"sec-fetch-site": "same-origin"}


class NoEngine:
    """Takes recordings and does nothing: their state is the test's to set."""

    def __init__(self) -> None:
        self.taken: list[str] = []

    def submit(self, session: Session, recording: RecordingRow) -> None:
        recording.run_id, recording.state = f"{recording.id}-1", "waiting"
        self.taken.append(recording.id)
