"""Where a fact of a draft came from: its words, its seconds, what fired, what was refused, what uses it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel, ValidationError

from extractors.facts import Evidence, Reading, Segment
from pipeline.draft import Check, Draft, Trend, load
from pipeline.errors import InputError
from pipeline.jobfolder import DRAFT
from pipeline.words import load_words
from pipeline.words.figures import clock, shown

Row = tuple[str, str]
LABEL = 11


def read_draft(path: Path) -> Draft:
    """The draft of a job's folder or of a draft.json. Raises InputError when it is none."""
    file = path / DRAFT if path.is_dir() else path
    try:
        return load(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValidationError) as fault:
        raise InputError(
            "no-draft", f"{path} is no draft that can be read.", "Name a job's folder, or the draft.json in it."
        ) from fault


def explain(path: Path, name: str) -> str:
    """Where the fact of this name came from, a line an aspect. Raises InputError when the draft has no such fact."""
    draft = read_draft(path)
    fact = facts_of(draft).get(name)
    if fact is None:
        raise InputError("no-such-fact", f"The draft has no {name!r}.", f"It has {_names(draft)}.")
    rows = [(name, _headline(fact)), *_rows(draft, name, fact)]
    return "\n".join(f"{label:<{LABEL}} {text}" for label, text in rows)


def facts_of(draft: Draft) -> dict[str, BaseModel]:
    """Every fact of the draft by the name that it goes by: `r3`, `equipment.model`, `complaint`, `unplaced:0`."""
    found: dict[str, BaseModel] = {}
    for group in (draft.readings, draft.findings, draft.actions, draft.parts, draft.checks, draft.trends):
        found |= {fact.id: fact for fact in group}
    found |= {f"follow_up:{number}": fact for number, fact in enumerate(draft.follow_ups)}
    found |= {f"unplaced:{number}": fact for number, fact in enumerate(draft.unplaced)}
    if draft.complaint is not None:
        found["complaint"] = draft.complaint
    machines = {f"other_equipment.{number}": machine for number, machine in enumerate(draft.other_equipment)}
    for place, holder in {"visit": draft.visit, "equipment": draft.equipment, **machines}.items():
        for field in type(holder).model_fields:
            if (said := getattr(holder, field)) is not None:
                found[f"{place}.{field}"] = said
    return found


def _names(draft: Draft) -> str:
    """The names of the draft's facts, lists of ids shortened."""
    names = list(facts_of(draft))
    short = [f"{one[0]} to {one[-1]}" for one in (_ids(names, letter) for letter in "rfapct") if one]
    return ", ".join([*short, *(name for name in names if not name[1:].isdigit())])


def _ids(names: list[str], letter: str) -> list[str]:
    return [name for name in names if name[0] == letter and name[1:].isdigit()]


def _headline(fact: BaseModel) -> str:
    """The fact in one line."""
    if isinstance(fact, Reading):
        figure = shown(fact, load_words()).text
        about = ", ".join(part for part in (fact.subject, fact.place, fact.of, fact.rating) if part)
        return f"{about}: {figure}, {fact.role}{_stage(fact.stage)}"
    if isinstance(fact, Check):
        return f"{fact.rule}: {fact.verdict.replace('_', ' ')}{_stage(fact.stage)}"
    if isinstance(fact, Trend):
        return f"{fact.subject} over time, {len(fact.points)} points{_stage(fact.stage)}"
    words = [
        str(getattr(fact, field)).replace("_", " ")
        for field in ("component", "place", "condition", "action", "status", "description", "value", "reason")
        if getattr(fact, field, None) is not None
    ]
    text = getattr(fact, "text", "")
    return ": ".join(part for part in (", ".join(words), text) if part)


def _stage(stage: str | None) -> str:
    return f", {stage.replace('_', ' ')}" if stage else ""


def _rows(draft: Draft, name: str, fact: BaseModel) -> Iterator[Row]:
    """Everything that is known about how the fact came to be."""
    evidence: Evidence | None = getattr(fact, "evidence", None)
    if evidence is not None:
        yield "said", place_text(draft, evidence)
        yield from _second_hearing(draft, evidence)
    if getattr(fact, "given", False):
        yield "given", "by a person, with --given or in job.toml"
    if (probability := getattr(fact, "probability", None)) is not None:
        yield "heard", f"with probability {probability:.2f} for the least sure word of the figure"
    for trail in getattr(fact, "trail", ()):
        yield "before", f"{trail.status.replace('_', ' ')}: {trail.text} ({place_text(draft, trail.evidence)})"
    yield from _labelled("because", getattr(fact, "because", ()))
    yield from _labelled("doubt", getattr(fact, "confirm", ()))
    if isinstance(fact, Reading):
        yield from _reading_rows(draft, fact)
    if isinstance(fact, Check):
        yield "found", fact.message
        yield "basis", f"{fact.basis.kind.replace('_', ' ')}: {fact.basis.source}"
        yield from (_mention(draft, "from", reading) for reading in fact.readings)
    if isinstance(fact, Trend):
        yield from (_mention(draft, f"{point.minutes:g} min", point.reading) for point in fact.points)
    for check in draft.checks:
        if name in check.readings:
            yield "used by", f"{check.id} {check.rule}: {check.message}"
    for trend in draft.trends:
        if any(point.reading == name for point in trend.points):
            yield "used by", f"{trend.id}, the series of {trend.subject}"
    diagnosis = draft.diagnosis
    for role in ("causes", "remedies", "proof", "open"):
        if name in getattr(diagnosis, role):
            yield "used by", f"the diagnosis, {role}"


def _reading_rows(draft: Draft, reading: Reading) -> Iterator[Row]:
    """What else the words may mean, what corrected them, where they were said again."""
    words = load_words()
    for other in reading.alternatives:
        yield "or", shown(other, words).text
    if reading.superseded_by is not None:
        yield _mention(draft, "corrected", reading.superseded_by)
    for earlier in draft.readings:
        if earlier.superseded_by == reading.id:
            yield _mention(draft, "corrects", earlier.id)
    for again in reading.repeats:
        yield "said again", place_text(draft, again)


def _mention(draft: Draft, label: str, reading_id: str) -> Row:
    fact = facts_of(draft).get(reading_id)
    return label, f"{reading_id} {_headline(fact)}" if fact is not None else reading_id


def _labelled(label: str, lines: tuple[str, ...]) -> Iterator[Row]:
    for number, line in enumerate(lines):
        yield (label if number == 0 else ""), line


def place_text(draft: Draft, evidence: Evidence) -> str:
    """Where something was said, and its words: `at 1:33 in front.m4a: "it measures 2.3"`."""
    known = evidence.recording < len(draft.recordings)
    file = draft.recordings[evidence.recording].file if known else f"source {evidence.recording}"
    if evidence.start is not None:
        where = f"at {clock(evidence.start)} in {file}"
    else:
        where = f"in line {evidence.line} of {file}" if evidence.line is not None else f"in {file}"
    return f'{where}: "{evidence.quote}"'


def _second_hearing(draft: Draft, evidence: Evidence) -> Iterator[Row]:
    """What a second hearing of the same sound wrote, where there was one."""
    for segment in draft.transcript.segments:
        if segment.heard_again and _covers(segment, evidence):
            yield "heard again", f'"{segment.heard_again}"'


def _covers(segment: Segment, evidence: Evidence) -> bool:
    """Whether the words of the evidence stand in this segment."""
    if segment.recording != evidence.recording or segment.start is None or segment.end is None:
        return False
    start, end = evidence.start, evidence.end
    return start is not None and end is not None and segment.start < end and start < segment.end
