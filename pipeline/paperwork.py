"""Papers of a draft that is there already, for `jobtape papers`."""

from __future__ import annotations

from pathlib import Path

from pipeline import run
from pipeline.edits import edits_beside
from pipeline.jobfolder import DRAFT
from pipeline.keep import write_whole
from pipeline.settings import Settings
from pipeline.shop import FILE_NAME, load_shop
from pipeline.why import read_draft


def make_papers(path: Path, papers: list[str], forms: list[str], settings: Settings) -> list[Path]:
    """Makes papers anew from the job's draft and the edits beside it, in its folder; gives the files written.

    Without `papers` all of them, without `forms` every form of each. Raises InputError for a draft, paper or form
    that does not exist.
    """
    from pipeline import render

    folder = path if path.is_dir() else path.parent
    draft = read_draft(path)
    shop_file = settings.shop or next((file for file in _shop_files(folder) if file.is_file()), None)
    shop = load_shop(shop_file) if shop_file is not None else None
    edits = edits_beside(folder / DRAFT)
    shown = run.edited(draft, edits, shop=shop)
    review = run.review_of(edits)
    written = []
    for name in papers or render.PAPERS:
        for form in forms or render.PAPERS.get(name, render.FORMS):
            data = render.paper(shown, name, form, shop=shop, review=review, folder=folder)
            target = folder / f"{name}.{form}"
            write_whole(target, data)
            written.append(target)
    return written


def _shop_files(folder: Path) -> list[Path]:
    """Where a shop's file may stand for a job: in its folder, or beside the job folders."""
    return [folder / FILE_NAME, folder.parent / FILE_NAME]
