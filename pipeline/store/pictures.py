"""Pictures of a job: their bytes under their digest, the edits that added them, and their files for papers."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from sqlalchemy.orm import Session

from pipeline.draft import Photo
from pipeline.edits import Edit, EditKind, TargetKind
from pipeline.errors import ReportError
from pipeline.keep import write_whole
from pipeline.store.store import Store
from pipeline.store.tables import PictureRow


def keep(store: Store, job_id: str, data: bytes) -> Photo:
    """Keeps a redrawn picture for as long as its job stands, also when a person takes it out: that can be undone."""
    sha256 = store.files.put(data)
    with store.database.writing() as session:
        named(session, job_id, sha256)
    return Photo(file=f"picture-{sha256[:12]}.jpg", sha256=sha256)


def named(session: Session, job_id: str, sha256: str) -> None:
    """Notes that a job needs the bytes; a second time is harmless."""
    session.merge(PictureRow(job_id=job_id, sha256=sha256))


def added(edits: Iterable[Edit]) -> list[Photo]:
    """All pictures that people ever added, also those that were taken out again."""
    return [
        Photo.model_validate(edit.now["fact"])
        for edit in edits
        if edit.kind is EditKind.ADD and edit.target.kind is TargetKind.PHOTO
    ]


def lay_out(store: Store, photos: Iterable[Photo], folder: Path) -> list[str]:
    """Writes the pictures under their names into a folder; gives a sentence for each that is not in the store."""
    faults = []
    for photo in photos:
        try:
            # The name is ours, but may come from an imported job: never as a path.
            write_whole(folder / Path(photo.file).name, store.files.get(photo.sha256))
        except ReportError as fault:
            faults.append(f"{photo.file}: {fault}")
    return faults
