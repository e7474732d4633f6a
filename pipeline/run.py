"""The order of the stages: from what was heard to a whole draft and its papers. No other file knows it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from extractors.facts import Facts, Segment, Transcript
from pipeline.compose import compose, survive, with_problem
from pipeline.draft import Draft, MadeWith, Recording, Stretch, dump
from pipeline.given import altitude_ft, apply

if TYPE_CHECKING:
    from pipeline.edits import Edit
    from pipeline.render import Review
    from pipeline.shop import Shop

GIVEN = "given."
FACTS = tuple(name for name in Facts.model_fields if name != "faults")


@dataclass(frozen=True)
class Part:
    """What one source says about one job, in the order it was said."""

    recording: Recording
    segments: tuple[Segment, ...]
    unheard: tuple[Stretch, ...] = ()


def started(name: str, parts: Sequence[Part], made_with: MadeWith, given: Mapping[str, str]) -> Draft:
    """A draft that holds what was heard and given, and no fact yet. Recordings are numbered in the order of parts."""
    settings = {**made_with.settings, **{f"{GIVEN}{key}": value for key, value in given.items()}}
    return Draft(
        name=name,
        made_with=made_with.model_copy(update={"settings": dict(sorted(settings.items()))}),
        recordings=tuple(part.recording for part in parts),
        transcript=Transcript(
            segments=tuple(
                segment.model_copy(update={"recording": number})
                for number, part in enumerate(parts)
                for segment in part.segments
            )
        ),
        unheard=tuple(
            stretch.model_copy(update={"recording": number})
            for number, part in enumerate(parts)
            for stretch in part.unheard
        ),
    )


def given_in(draft: Draft) -> dict[str, str]:
    """What a person gave for this job."""
    settings = draft.made_with.settings.items()
    return {key.removeprefix(GIVEN): value for key, value in settings if key.startswith(GIVEN)}


def read(draft: Draft) -> Draft:
    """The draft with the facts of its transcript, and over them what a person gave."""
    from extractors import find_facts

    facts = find_facts(draft.transcript)
    given = apply(facts, given_in(draft))
    draft = draft.model_copy(update={field: getattr(given, field) for field in FACTS})
    for fault in facts.faults:
        draft = with_problem(draft, "extract", "extractor-failed", fault)
    return draft


def finish(draft: Draft, *, shop: Shop | None = None) -> Draft:
    """The draft with checks, trends and all that follows from them made anew, from the facts as they stand."""
    from pipeline.checks import check

    height = altitude_ft(given_in(draft))
    draft = survive(draft, "check", "The checks", partial(check, altitude_ft=height, shop=shop))
    return compose(draft)


def drafted(draft: Draft, *, shop: Shop | None = None) -> Draft:
    """The whole draft of a started one."""
    return finish(survive(draft, "extract", "The facts", read), shop=shop)


def edited(draft: Draft, edits: Sequence[Edit], *, shop: Shop | None = None) -> Draft:
    """The machine's draft with a person's edits on it, and all that follows from them made anew."""
    if not edits:
        return draft
    from pipeline.edits_apply import apply as lay_over

    return lay_over(draft, edits, read=read, finish=partial(finish, shop=shop))[0]


def with_papers(
    draft: Draft, edits: Sequence[Edit], *, shop: Shop | None = None, folder: Path | None = None
) -> tuple[Draft, Draft, dict[str, bytes]]:
    """The draft, the draft with edits, and the files of the job's folder: `draft.json` and the papers.

    The draft is what the machine understood; the papers show it as a person corrected it. A paper that cannot
    be made is a problem of the draft and does not cost the others. `folder` is where the job's photos lie.
    """
    shown = edited(draft, edits, shop=shop)
    make = partial(_papers, review=review_of(edits), shop=shop, folder=folder)
    files, faults = make(shown)
    if faults:
        for fault in faults:
            draft = with_problem(draft, "render", "paper-failed", fault)
            shown = with_problem(shown, "render", "paper-failed", fault)
        # Once more, so that the papers that can be made tell of those that cannot.
        files, _ = make(shown)
    return draft, shown, {"draft.json": dump(draft).encode(), **files}


def _papers(
    draft: Draft, *, review: Review, shop: Shop | None, folder: Path | None
) -> tuple[dict[str, bytes], list[str]]:
    """The papers that can be made, and a sentence for each reason why others cannot."""
    from pipeline import render
    from pipeline.render import exports

    try:
        return render.papers(draft, shop=shop, review=review, folder=folder), []
    except Exception:
        single: dict[str, Callable[[], bytes]] = {
            f"{name}.{form}": partial(render.paper, draft, name, form, shop=shop, review=review, folder=folder)
            for name, forms in render.PAPERS.items()
            for form in forms
        }
        single["readings.csv"] = partial(exports.readings_csv, draft)
        single["transcript.vtt"] = partial(exports.transcript_vtt, draft)
    files: dict[str, bytes] = {}
    faults: dict[str, list[str]] = {}
    for name, work in single.items():
        try:
            files[name] = work()
        except Exception as fault:
            faults.setdefault(f"({type(fault).__name__}: {fault})", []).append(name)
    return files, [f"{', '.join(names)} could not be made {why}." for why, names in faults.items()]


def review_of(edits: Sequence[Edit]) -> Review:
    """Who checked the draft, as the edits say it; nobody while the report is a draft."""
    from pipeline.edits import EditKind, effective, review_state
    from pipeline.render import Review

    if review_state(edits) == "draft":
        return Review()
    last = [edit for edit in edits if edit.kind is EditKind.REVIEW][-1]
    changes = sum(edit.kind not in (EditKind.REVIEW, EditKind.HEARD) for edit in effective(edits))
    return Review(checked_by=last.who, checked_on=last.when[:10], changes=changes)
