"""Forms for other programs: readings as CSV, the transcript as WebVTT."""

from __future__ import annotations

import csv
import io
import re

from pipeline.draft import Draft

COLUMNS = (
    "quantity", "subject", "role", "value", "low", "high", "unit", "stage", "place", "rating",
    "tolerance_minus", "tolerance_plus", "qualifiers",
    "id", "of", "verdicts", "confirm", "alternatives", "superseded_by", "recording", "at_s", "line", "words",
)  # fmt: skip
"""The first thirteen are those that `jobtape judge` reads."""
NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")


def cell(value: object) -> str:
    """A value as a cell that no spreadsheet runs: a text that begins like a formula gets an apostrophe before it."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.12g}" if abs(value) < 1e12 else repr(value)
    text = str(value).replace("\x00", "")
    if text.startswith(tuple("=+-@\t\r\n")) and not NUMBER.fullmatch(text):
        return "'" + text
    return text


def readings_csv(draft: Draft) -> bytes:
    """All readings, one a row, with the draft's own words for the first columns. UTF-8, RFC 4180."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for one in draft.readings:
        minus, plus = one.tolerance_pct or (None, None)
        verdicts = [f"{check.rule}: {check.verdict.value}" for check in draft.checks if one.id in check.readings]
        others = [
            " ".join(cell(part) for part in (other.value, other.low, other.high, other.unit) if part is not None)
            for other in one.alternatives
        ]
        row = (
            one.quantity.value, one.subject, one.role.value, one.value, one.low, one.high, one.unit,
            one.stage.value if one.stage else None, one.place, one.rating.value if one.rating else None,
            minus, plus, " ".join(mark.value for mark in one.qualifiers),
            one.id, one.of, "; ".join(verdicts), "; ".join(one.confirm), "; ".join(others), one.superseded_by,
            one.evidence.recording, one.evidence.start, one.evidence.line, one.evidence.quote,
        )  # fmt: skip
        writer.writerow([cell(value) for value in row])
    return out.getvalue().encode("utf-8")


PART_COLUMNS = ("status", "quantity", "description", "part_number", "rating", "component", "serial", "confirm",
    "machine", "model", "machine_serial", "customer", "site", "reference", "words")  # fmt: skip


def parts_csv(draft: Draft) -> bytes:
    """All parts, one a row, each with the machine it is for. UTF-8, RFC 4180."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(PART_COLUMNS)
    machine, visit = draft.equipment, draft.visit
    where = [
        said.value if said is not None else None
        for said in (machine.type, machine.model, machine.serial, visit.customer, visit.site, visit.reference)
    ]
    for one in draft.parts:
        row = (
            one.status.value, one.quantity, one.description, one.part_number, one.rating, one.component, one.serial,
            "; ".join(one.confirm), *where, one.evidence.quote,
        )  # fmt: skip
        writer.writerow([cell(value) for value in row])
    return out.getvalue().encode("utf-8")


def _cue_time(seconds: float) -> str:
    """A time of WebVTT: hh:mm:ss.ttt."""
    thousandths = round(max(0.0, seconds) * 1000)
    minutes, rest = divmod(thousandths, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _cue_text(text: str) -> str:
    """Text that is no markup and no cue line."""
    return " ".join(text.split()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def transcript_vtt(draft: Draft) -> bytes:
    """The transcript as WebVTT. Lines without times stand as notes, so that no time is made up."""
    blocks = ["WEBVTT"]
    segments = draft.transcript.segments
    shown: int | None = None
    for number, segment in enumerate(segments, 1):
        if segment.recording != shown:
            shown = segment.recording
            if shown < len(draft.recordings):
                blocks.append(f"NOTE {_cue_text(draft.recordings[shown].file)}")
        text = _cue_text(segment.text)
        if not text:
            continue
        if segment.start is None:
            where = f"line {segment.line}: " if segment.line is not None else ""
            blocks.append(f"NOTE {where}{text}")
            continue
        end = segment.end if segment.end is not None and segment.end > segment.start else segment.start + 1.0
        identifier = f"{segment.recording + 1}.{number}"
        blocks.append(f"{identifier}\n{_cue_time(segment.start)} --> {_cue_time(end)}\n{text}")
    return ("\n\n".join(blocks) + "\n").encode("utf-8")
