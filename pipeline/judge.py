"""Judges plain readings from a table, without a recording, and tells what the rules are."""

from __future__ import annotations

import csv
import io
import json
import math
import sys
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from extractors.facts import Equipment, Evidence, Qualifier, Quantity, Rating, Reading, Role, Said, Stage
from pipeline.checks import check
from pipeline.draft import Draft, Verdict
from pipeline.errors import InputError

if TYPE_CHECKING:
    from enum import StrEnum

    from pipeline.checks import ShopSettings
    from pipeline.checks.limits import Limit, RuleLimits
    from pipeline.checks.rule import Need

REQUIRED = ("quantity", "subject", "role")
OPTIONAL = (
    "value", "low", "high", "unit", "stage", "place", "rating", "tolerance_minus", "tolerance_plus", "qualifiers",
    "id", "of", "confirm", "superseded_by",
)  # fmt: skip
PASSED_OVER = ("verdicts", "alternatives", "recording", "at_s", "line", "words")
"""Columns of the program's own readings.csv that the rules do not need."""
DELIMITERS = (",", ";", "\t")
LARGEST_BYTES = 20_000_000
MOST_ROWS = 50_000
LONGEST_CELL = 500
HIGHEST_FT = 30_000.0
LOWEST_FT = -2_000.0
COLUMN_GAP = "  "
MESSAGE_WIDTH = 96
VERDICT_WORDS = {
    Verdict.IN_TOLERANCE: "in tolerance",
    Verdict.MARGINAL: "marginal",
    Verdict.OUT_OF_TOLERANCE: "OUT OF TOLERANCE",
    Verdict.NO_REFERENCE: "no verdict",
}
Word = TypeVar("Word", bound="StrEnum")


def judge(
    rows_file: Path | str,
    *,
    refrigerant: str | None = None,
    equipment: str | None = None,
    altitude_ft: float | None = None,
    shop: ShopSettings | None = None,
) -> Draft:
    """A draft made of the rows of a CSV file (`-`: standard input) with its checks filled; nothing else is.

    Raises InputError with the line number for anything in the file that cannot be used, and for an unknown
    refrigerant or an altitude where nobody works.
    """
    name, readings = _read(rows_file)
    return check(
        Draft(
            name=name,
            equipment=Equipment(type=_given(equipment), refrigerant=_refrigerant(refrigerant)),
            readings=readings,
        ),
        altitude_ft=_altitude(altitude_ft),
        shop=shop,
    )


def _given(value: str | None) -> Said | None:
    return Said(value=value.strip(), given=True) if value and value.strip() else None


def _refrigerant(name: str | None) -> Said | None:
    """The refrigerant by its designation. Raises InputError for one that is not in the table."""
    from pipeline.checks.refrigerants import refrigerant, refrigerants

    if not name or not name.strip():
        return None
    known = refrigerant(name)
    if known is None:
        raise InputError(
            "unknown-refrigerant", f"There is no refrigerant {name.strip()[:40]} in the saturation table.",
            f"It holds {', '.join(refrigerants())}.",
        )  # fmt: skip
    return Said(value=known.name, given=True)


def _altitude(feet: float | None) -> float | None:
    if feet is not None and not LOWEST_FT <= feet <= HIGHEST_FT:
        raise InputError("altitude-wrong", f"An altitude of {feet:g} ft cannot be.", "Give it in feet above the sea.")
    return feet


def _read(rows_file: Path | str) -> tuple[str, tuple[Reading, ...]]:
    """Name and readings of a table of readings."""
    if str(rows_file) == "-":
        name, data = "standard input", sys.stdin.buffer.read(LARGEST_BYTES + 1)
    else:
        path = Path(rows_file)
        name = path.name
        try:
            with path.open("rb") as file:
                data = file.read(LARGEST_BYTES + 1)
        except OSError as fault:
            raise InputError(
                "readings-unreadable", f"{name} cannot be read ({fault.strerror}).", "Check its name."
            ) from fault
    if len(data) > LARGEST_BYTES:
        raise InputError("too-large", f"{name} is larger than {LARGEST_BYTES // 1_000_000} MB.", "Split it.")
    rows = list(_rows(name, _text(name, data)))
    if not rows:
        raise InputError("no-readings", f"{name} holds no readings.", f"Its first line is {','.join(REQUIRED)},….")
    readings = tuple(_reading(name, line, row, f"r{number}") for number, (line, row) in enumerate(rows, start=1))
    seen: set[str] = set()
    for (line, _), reading in zip(rows, readings, strict=True):
        if reading.id in seen:
            raise _wrong(name, line, f"the id {reading.id} stands there a second time")
        seen.add(reading.id)
    return name, readings


def _text(name: str, data: bytes) -> str:
    """The file as text. Raises InputError for what is no UTF-8 text."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            pass
    elif b"\x00" not in data:
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as fault:
            line = data[: fault.start].count(b"\n") + 1
            raise _wrong(name, line, "it is not UTF-8 text", "Save the table as CSV in UTF-8.") from fault
    raise InputError("readings-wrong", f"{name} is not a text file.", "Save the table as CSV in UTF-8.")


def _rows(name: str, text: str) -> Iterator[tuple[int, dict[str, str]]]:
    """(line number, cells by column) of each row that holds anything."""
    first = text.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    columns: list[str] = []
    try:
        for cells in reader:
            line = reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if not columns:
                columns = _columns(name, line, cells)
                continue
            if line > MOST_ROWS:
                raise InputError("too-large", f"{name} holds more than {MOST_ROWS} lines.", "Split it.")
            if len(cells) > len(columns):
                raise _wrong(name, line, f"there are {len(cells)} cells and only {len(columns)} columns")
            yield line, {column: _cell(name, line, cell) for column, cell in zip(columns, cells, strict=False)}
    except csv.Error as fault:
        raise _wrong(name, reader.line_num, f"it is not valid CSV ({fault})") from fault


def _columns(name: str, line: int, cells: Sequence[str]) -> list[str]:
    """The column names, checked."""
    columns = [cell.strip().casefold().replace(" ", "_") for cell in cells]
    known = (*REQUIRED, *OPTIONAL, *PASSED_OVER)
    for column in columns:
        if column not in known:
            raise _wrong(name, line, f"there is no column {column[:40] or '(empty)'}{_nearest(column, known)}")
    missing = [column for column in REQUIRED if column not in columns]
    if missing:
        raise _wrong(name, line, f"the column {missing[0]} is missing", "The first line names the columns.")
    if len(set(columns)) < len(columns):
        raise _wrong(name, line, "a column stands there twice")
    return columns


def _cell(name: str, line: int, cell: str) -> str:
    """A cell without the apostrophe that keeps spreadsheets from running it."""
    text = cell.strip()
    if len(text) > LONGEST_CELL:
        raise _wrong(name, line, f"a cell is longer than {LONGEST_CELL} characters")
    return text[1:] if text[:2] in ("'=", "'+", "'-", "'@") else text


def _reading(name: str, line: int, row: Mapping[str, str], reading_id: str) -> Reading:
    """One row as a reading. Raises InputError with the line number."""
    quantity = _word(name, line, row, "quantity", Quantity)
    role = _word(name, line, row, "role", Role)
    subject = row.get("subject", "")
    if quantity is None or role is None or not subject:
        empty = next(column for column in REQUIRED if not row.get(column))
        raise _wrong(name, line, f"{empty} is empty")
    value, low, high = (_number(name, line, row, column) for column in ("value", "low", "high"))
    if value is None and (low is None or high is None):
        raise _wrong(name, line, "it needs a value, or a low and a high")
    if value is not None and (low is not None or high is not None):
        raise _wrong(name, line, "it has a value and a range", "Give one of them.")
    if low is not None and high is not None and low > high:
        raise _wrong(name, line, f"low ({low:g}) lies above high ({high:g})")
    minus, plus = (_number(name, line, row, f"tolerance_{side}") for side in ("minus", "plus"))
    tolerance = None if minus is None and plus is None else (minus or 0.0, plus or 0.0)
    marks = row.get("qualifiers", "").replace(",", " ").replace(";", " ").split()
    return Reading(
        id=row.get("id") or reading_id,
        quantity=quantity,
        subject=subject,
        role=role,
        value=value,
        low=low,
        high=high,
        tolerance_pct=tolerance,
        unit=_unit(name, line, row, quantity),
        place=row.get("place") or None,
        of=row.get("of") or None,
        rating=_word(name, line, row, "rating", Rating),
        qualifiers=tuple(_one_of(name, line, "qualifiers", mark, Qualifier) for mark in marks),
        stage=_word(name, line, row, "stage", Stage),
        evidence=Evidence(quote=""),
        confirm=tuple(part.strip() for part in row.get("confirm", "").split(";") if part.strip()),
        superseded_by=row.get("superseded_by") or None,
    )


def _number(name: str, line: int, row: Mapping[str, str], column: str) -> float | None:
    text = row.get(column, "").replace("−", "-")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        hint = "Write decimals with a point." if "," in text else ""
        raise _wrong(name, line, f"{column} is no number: {text[:40]}", hint) from None
    if not math.isfinite(value) or abs(value) > 1e12:
        raise _wrong(name, line, f"{column} is no figure that can be measured: {text[:40]}")
    return value


def _unit(name: str, line: int, row: Mapping[str, str], quantity: Quantity) -> str | None:
    """The unit, one of the closed list that measures the quantity."""
    from extractors.units import units

    unit = row.get("unit", "")
    if not unit:
        return None
    if unit not in units():
        raise _wrong(name, line, f"there is no unit {unit[:40]}{_nearest(unit, tuple(units()))}")
    if units()[unit].quantity is not quantity and not (
        quantity is Quantity.CONCENTRATION and unit == "%"  # of a flue gas
    ):
        raise _wrong(name, line, f"{unit} is no unit of {quantity.value}")
    return unit


def _word(name: str, line: int, row: Mapping[str, str], column: str, words: type[Word]) -> Word | None:
    """A cell of a closed vocabulary, or None when it is empty."""
    text = row.get(column, "")
    return _one_of(name, line, column, text, words) if text else None


def _one_of(name: str, line: int, column: str, text: str, words: type[Word]) -> Word:
    wanted = text.casefold().replace(" ", "_")
    for word in words:
        if word.value.casefold() == wanted:
            return word
    known = tuple(word.value for word in words)
    raise _wrong(name, line, f"{column} cannot be {text[:40]}{_nearest(text, known)}", f"Known: {', '.join(known)}.")


def _nearest(word: str, known: Sequence[str]) -> str:
    close = get_close_matches(word, known, n=1)
    return f"; did you mean {close[0]}?" if close else ""


def _wrong(name: str, line: int, what: str, hint: str = "") -> InputError:
    stop = "" if what.endswith("?") else "."
    return InputError("readings-wrong", f"{name}, line {line}: {what}{stop}", hint)


def checks_json(draft: Draft) -> str:
    """The checks of a draft as a JSON list, as they stand in draft.json."""
    return json.dumps([one.model_dump(mode="json") for one in draft.checks], indent=1, ensure_ascii=False) + "\n"


def checks_table(draft: Draft) -> str:
    """The checks of a draft as text for people: verdict, rule and sentence, worst first within the order said."""
    if not draft.checks:
        return "Nothing here can be judged: no rule takes these readings.\n"
    width = max(len(words) for words in VERDICT_WORDS.values())
    rule_width = max(len(one.rule) for one in draft.checks)
    lines = []
    for one in draft.checks:
        head = f"{VERDICT_WORDS[one.verdict]:<{width}}{COLUMN_GAP}{one.rule:<{rule_width}}{COLUMN_GAP}"
        for number, part in enumerate(_wrapped(one.message, MESSAGE_WIDTH)):
            lines.append((head if number == 0 else " " * len(head)) + part)
    counts = {verdict: sum(one.verdict is verdict for one in draft.checks) for verdict in VERDICT_WORDS}
    told = ", ".join(f"{count} {VERDICT_WORDS[verdict].lower()}" for verdict, count in counts.items() if count)
    return "\n".join([*lines, "", f"{len(draft.checks)} comparisons: {told}."]) + "\n"


def _wrapped(text: str, width: int) -> list[str]:
    from textwrap import wrap

    return wrap(text, width, break_long_words=False, break_on_hyphens=False)


def rules_table() -> str:
    """All rules, one a line: name, what it compares, and where its limits come from."""
    from pipeline.checks.registry import discover

    limits = _limits()
    names = [rule.name for rule in discover()]
    width = max(map(len, names))
    lines = []
    for name in names:
        sources = list(dict.fromkeys(limit.source.title for limit in limits[name]))
        lines.append(f"{name:<{width}}{COLUMN_GAP}{limits[name].title}")
        lines += [
            f"{' ' * width}{COLUMN_GAP}  {part}" for part in _wrapped("; ".join(sources), MESSAGE_WIDTH) if sources
        ]
    return "\n".join([*lines, "", f"{len(names)} rules. `jobtape rules NAME` shows one with its limits."]) + "\n"


def rule_text(name: str) -> str:
    """One rule: what it computes, what it needs, its limits with their sources, and a worked example.

    Raises InputError for a name that is no rule's.
    """
    from pipeline.checks.registry import discover

    rule = next((rule for rule in discover() if rule.name == name), None)
    if rule is None:
        known = [rule.name for rule in discover()]
        raise InputError(
            "unknown-rule", f"There is no rule {name[:60]}{_nearest(name, known)}".rstrip("?") + ".",
            "`jobtape rules` lists them.",
        )  # fmt: skip
    limits = _limits()[name]
    lines = [limits.title, "=" * len(limits.title), "", *_wrapped(limits.about, MESSAGE_WIDTH), "", "Needs"]
    lines += [f"  {_need_text(need)}" for need in rule.needs]
    lines += ["  the refrigerant"] if rule.refrigerant else []
    lines += ["", "Limits"]
    lines += [f"  {_limit_text(limit)}" for limit in limits] or ["  none: it computes and judges nothing"]
    lines += ["", "Example", *(f"  {part}" for part in _wrapped(limits.example, MESSAGE_WIDTH))]
    return "\n".join(lines) + "\n"


def _limits() -> Mapping[str, RuleLimits]:
    from pipeline.checks.limits import all_limits

    return all_limits()


def _need_text(need: Need) -> str:
    """One need in words: `rated current of compressor, …; without it: rated amps`."""
    roles = " or ".join(role.value for role in need.roles)
    about = f" of {', '.join(need.subjects)}" if need.subjects else ""
    asked = f"; asked for: {need.missing.format(subject='part')}" if need.missing else ""
    return f"{roles} {need.quantity.value.replace('_', ' ')}{about}{asked}"


def _limit_text(limit: Limit) -> str:
    """One limit in words: name, value, unit, basis, source, and whether the source was seen."""
    from pipeline.checks import wording

    value = wording.with_unit(wording.plain(limit.value), limit.unit)
    memory = "" if limit.seen else ", from memory"
    return f"{limit.name:<18} {value:<14} {limit.basis.replace('_', ' ')}: {limit.source.title}{memory}"
