"""The program's log: one JSON object a line, with the job it is about; ids, codes and numbers, never words of people.

What was said, customers' names and file names have no way in: a fact has one of the names below, and its value is
a number, or a text that is an id or a code. Lines of the libraries are kept without their text.
"""

from __future__ import annotations

import json
import logging
import re
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

NAME = "jobtape"
FACTS = frozenset(
    {
        *("recording", "run", "worker", "host", "code", "stage", "backup"),
        *("seconds", "audio_s", "tries", "count", "bytes", "capacity", "taken_from"),
    }
)
CODE = re.compile(r"[A-Za-z0-9_.:-]{1,96}")
_log = logging.getLogger(NAME)


def say(event: str, job: str | None = None, **facts: str | int | float | None) -> None:
    """Writes a line about a job, or about none. Raises KeyError for a fact whose name is not known here."""
    for name, value in facts.items():
        if name not in FACTS:
            raise KeyError(name)
        if isinstance(value, str) and not CODE.fullmatch(value):
            facts[name] = "-"
    _log.info(event, extra={"job": job, "facts": facts})


class Lines(logging.Formatter):
    """A record as one line of JSON. Of an error: its type and where it arose, not its words."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage() if record.name == NAME else "library",
            "job": getattr(record, "job", None) or "-",
        }
        if record.name != NAME:
            line["from"] = f"{record.name}:{record.module}:{record.lineno}"
        line |= getattr(record, "facts", {})
        if record.exc_info and record.exc_info[0] is not None:
            line["fault"] = record.exc_info[0].__name__
            trace, places = record.exc_info[2], []
            while trace is not None:
                places.append(f"{Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}")
                trace = trace.tb_next
            line["where"] = places[-8:]
        return json.dumps(line)


def begin(target: str) -> None:
    """Starts the log of this process: `-` for the standard error, else a file that grows; nothing for an empty name."""
    if not target:
        return
    stream: IO[str] | None = sys.stderr if target == "-" else None
    handler: logging.Handler = logging.StreamHandler(stream) if stream else logging.FileHandler(target, delay=True)
    handler.setFormatter(Lines())
    _log.setLevel(logging.INFO)
    for name, level in ((NAME, logging.INFO), ("uvicorn", logging.WARNING), ("uvicorn.error", logging.WARNING)):
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = [handler], False
        logger.setLevel(level)
    # What other libraries warn of stands at the root, where their words are dropped too.
    logging.getLogger().handlers = [handler]


def of_libraries() -> None:
    """Sends what the job engine's library says through the same lines; to be called once it has set up its own."""
    ours = logging.getLogger(NAME).handlers
    if ours:
        logger = logging.getLogger("dbos")
        logger.handlers, logger.propagate = list(ours), False
        logger.setLevel(logging.WARNING)
