"""A new capacitor's marking against the old one's."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

from extractors.facts import Part, PartStatus, Quantity, Reading, Role
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import is_new_part
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_plate
from pipeline.checks.wording import amount, figure
from pipeline.draft import Verdict

KINDS = ("run capacitor", "start capacitor")
MARKED = re.compile(
    r"(?P<low>\d+(?:\.\d+)?)(?:\s*(?:/|-|–|to|and)\s*(?P<high>\d+(?:\.\d+)?))?\s*"
    r"(?:µf|uf|mfd|mike|microfarad|mic\b|at\s+\d)",
    re.IGNORECASE,
)
VOLTS = re.compile(r"(\d{3})\s*(?:v\b|volt|vac)|\bat\s+(\d{3})\b", re.IGNORECASE)
OLD = Need("old", Quantity.CAPACITANCE, "uF", KINDS, (Role.RATED,))
NEW = Need("new", Quantity.CAPACITANCE, "uF", KINDS, (Role.RATED,), missing="rating of the {subject} put in")
OLD_VOLTS = Need("old volts", Quantity.VOLTAGE, "V", KINDS, (Role.RATED,))


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """One case for each kind of capacitor that was put in."""
    for kind in KINDS:
        parts = [p for p in job.draft.parts if p.component == kind and p.status is PartStatus.USED]
        actions = job.new_parts.get(kind, ())
        marked = [r for r in job.of(Quantity.CAPACITANCE, (Role.RATED,)) if OLD.accepts(r) and r.subject == kind]
        if not (parts or actions):
            continue
        old = [r for r in marked if is_new_part(job, r, actions) is not True]
        new = [r for r in marked if is_new_part(job, r, actions) is True]
        if not old:
            continue
        volts = [r for r in job.of(Quantity.VOLTAGE, (Role.RATED,)) if OLD_VOLTS.accepts(r) and r.subject == kind]
        groups = {
            "old": tuple(old),
            "new": tuple(new),
            "old volts": tuple(r for r in volts if is_new_part(job, r, actions) is not True),
            "new volts": tuple(r for r in volts if is_new_part(job, r, actions) is True),
        }
        case = Case(job, limits, {"old": old[0]}, groups, tag=kind)
        if not new and not _said_of(parts):
            case = replace(case, missing=Missing((NEW.missing or "").format(subject=kind)))
        yield case


def _said_of(parts: Sequence[Part]) -> tuple[float, ...]:
    """Microfarads in the spoken ratings of the parts put in."""
    found = [MARKED.search(f"{part.rating or ''} {part.description}") for part in parts]
    return tuple(
        float(value) for match in found if match for value in (match["low"], match["high"]) if value is not None
    )


def _volts_of(parts: Sequence[Part]) -> tuple[float, ...]:
    """Volts in the spoken ratings of the parts put in."""
    found = [VOLTS.search(f"{part.rating or ''} {part.description}") for part in parts]
    return tuple(float(match[1] or match[2]) for match in found if match)


def _figures(case: Case, readings: Sequence[Reading], unit: str) -> tuple[float, ...]:
    """All ends of the readings, each once, smallest first."""
    return tuple(sorted({end for r in readings for end in case.span_of(r, unit)}))


def judge(case: Case) -> Outcome | None:
    """Largest difference of the microfarads in percent; a lower voltage is out whatever they are."""
    kind = case.tag
    parts = [p for p in case.job.draft.parts if p.component == kind and p.status is PartStatus.USED]
    old = _figures(case, case.groups["old"], "uF")
    new = _figures(case, case.groups["new"], "uF") or tuple(sorted(set(_said_of(parts))))
    if len(old) != len(new) or not old[0] > 0:
        return None
    differences = [(now / was - 1) * 100 for was, now in zip(old, new, strict=True)]
    worst = max(differences, key=abs)
    band: Band = case.limits.band("start" if kind == "start capacitor" else "run")
    volts_old = _figures(case, case.groups["old volts"], "V")
    volts_new = _figures(case, case.groups["new volts"], "V") or _volts_of(parts)
    lower = bool(volts_old and volts_new) and min(volts_new) < max(volts_old)
    outcome = case.judged(
        worst,
        band,
        "%",
        what=f"New {kind} {' / '.join(amount(v, 'uF') for v in new)}",
        result="the same" if worst == 0 else f"{figure(abs(worst))} % {'smaller' if worst < 0 else 'larger'}",
        against=f"{' / '.join(amount(v, 'uF') for v in old)} before",
        basis=from_plate(case.anchor, "old marking"),
        notes=[f"Its voltage of {min(volts_new):g} V is lower than the old one's."] if lower else (),
    )
    return replace(outcome, verdict=Verdict.OUT_OF_TOLERANCE) if lower else outcome


RULE = Rule("capacitor-replacement-match", (OLD, NEW, OLD_VOLTS), judge, cases=cases)
