"""A fault of the program itself: one sentence for the user, and the details in a file for whoever mends it."""

from __future__ import annotations

import traceback

from pipeline.errors import ReportError
from pipeline.keep import make_folder, write_whole
from pipeline.speech_models import cache_folder


def internal(fault: Exception) -> ReportError:
    """The fault as an error that a user can meet. The details go to `last-fault.txt` in the cache folder."""
    details = cache_folder() / "last-fault.txt"
    try:
        make_folder(details.parent)
        write_whole(details, "".join(traceback.format_exception(fault)).encode())
        where = f"The details are in {details}."
    except (ReportError, OSError):
        where = "The details could not be written down."
    kind = f"{type(fault).__name__}: {fault}".splitlines()[0]
    return ReportError("internal", f"Something in jobtape itself failed ({kind}).", where)
