"""From facts and checks to a whole draft: how the job hangs together, what is missing, what to mind, in short."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from pipeline.draft import Draft, Problem


def with_problem(draft: Draft, stage: str, code: str, message: str) -> Draft:
    """The draft with one more problem that was survived; it is partial from then on."""
    problem = Problem(stage=stage, code=code, message=message)
    if problem in draft.problems:
        return draft
    return draft.model_copy(update={"problems": (*draft.problems, problem), "status": "partial"})


def survive(draft: Draft, stage: str, what: str, work: Callable[[Draft], Draft]) -> Draft:
    """The draft after `work`; when that raises, the draft as it was, with the problem noted.

    A fault of the program in one stage must not cost the technician what the other stages found.
    """
    try:
        return work(draft)
    except Exception as fault:
        return with_problem(
            draft, stage, f"{stage}-failed", f"{what} could not be made ({type(fault).__name__}: {fault})."
        )


def compose(draft: Draft) -> Draft:
    """The draft with `diagnosis`, `gaps`, `cautions` and `summary` filled, each from the ones before."""
    from pipeline.cautions import cautions
    from pipeline.diagnosis import diagnose
    from pipeline.gaps import gaps
    from pipeline.summary import summary

    for field, what, make in (
        ("diagnosis", "The diagnosis", diagnose),
        ("gaps", "The list of what was not said", gaps),
        ("cautions", "The safety notes", cautions),
        ("summary", "The summary", summary),
    ):
        draft = survive(draft, "compose", what, partial(_filled, field, make))
    return draft


def _filled(field: str, make: Callable[[Draft], object], draft: Draft) -> Draft:
    """The draft with one field made anew."""
    return draft.model_copy(update={field: make(draft)})
