"""What the capacitor rules share: the marking of a part, its tolerance, and which marking belongs to which figure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job, words
from pipeline.checks.limits import Band, Limit, RuleLimits
from pipeline.checks.pairing import figures, near, reference, references
from pipeline.checks.rule import Case, Missing, Need

MARKED_ROLES = (Role.RATED, Role.EXPECTED)
CLOSE = 0.20
"""Within this share of one marking, and farther than APART from every other, a figure belongs to that marking."""
APART = 0.40
WORKED_OUT = 0.001
SIDES = {"fan": 0, "compressor": -1}
"""Of the two markings of a dual capacitor the fan's is the smaller and the compressor's the larger."""
DUAL_FROM = 3.0
"""A marked range this wide is no range but the two sides of a dual capacitor."""
BIJECTION = (0.5, 1.5)
"""Two sides of a dual capacitor measured together: the larger figure is the larger side, if all lie in this range."""
LARGEST_TOLERANCE = 25.0


def measured_need(subject: str) -> Need:
    """The measured capacitance of a kind of capacitor."""
    return Need("measured", Quantity.CAPACITANCE, "uF", (subject,))


def marking_need(subject: str) -> Need:
    """The marking of a kind of capacitor."""
    return Need(
        "marking",
        Quantity.CAPACITANCE,
        "uF",
        (subject,),
        MARKED_ROLES,
        missing="marking of the {subject} (microfarads)",
    )


def cases(job: Job, limits: RuleLimits, subject: str) -> Iterator[Case]:
    """Each measured capacitor with its marking. Two sides of a dual capacitor are told apart by name or size."""
    first, marking = measured_need(subject), marking_need(subject)
    measured = [r for r in job.of(Quantity.CAPACITANCE, (Role.MEASURED,)) if first.accepts(r)]
    marked = references(job, Quantity.CAPACITANCE, MARKED_ROLES, marking.accepts)
    plain = [m for m in marked if not derived(job, m, marked)]
    for anchor in measured:
        case = bind(job, limits, anchor, first, [marking])
        if case.missing and case.missing.unclear:
            match = reference(job, anchor, plain)
            chosen = match.reading or _side_of(job, anchor, measured, match.ambiguous)
            if chosen:
                case = replace(case, bound={"measured": anchor, "marking": chosen}, missing=None)
        tolerance = _said_tolerance(job, case.bound.get("marking"))
        if tolerance:
            case = replace(case, groups={"tolerance": (tolerance,)})
        yield case


def derived(job: Job, marking: Reading, marked: Sequence[Reading]) -> bool:
    """Whether a figure is only another marking's tolerance worked out: 2.1 of 35 at 6 %, or 32.9."""
    if marking.value is None:
        return False
    for other in marked:
        if other is marking or not other.value or not near(job, other, marking):
            continue
        said = [r.value for r in job.of(Quantity.PERCENTAGE, MARKED_ROLES) if r.subject == marking.subject and r.value]
        shares = {abs(pct) / 100 for pct in (*(other.tolerance_pct or ()), *said)}
        ratio = marking.value / other.value
        if any(abs(ratio - part) < WORKED_OUT for share in shares for part in (share, 1 - share, 1 + share)):
            return True
    return False


def _side_of(job: Job, anchor: Reading, measured: Sequence[Reading], ambiguous: Sequence[Reading]) -> Reading | None:
    """The only marking that a figure can belong to, by the name of its side or its size; None: nothing is guessed."""
    distinct = {figures(m): m for m in ambiguous}
    rated = sorted((m for m in distinct.values() if m.value), key=lambda m: m.value or 0.0)
    if anchor.value is None or len(rated) < 2 or len(rated) != len(distinct):
        return None
    if len(rated) == 2 and SIDES.get(_side(anchor)) is not None:
        return rated[SIDES[_side(anchor)]]
    together = [r for r in measured if r is anchor or (r.stage is anchor.stage and near(job, r, anchor))]
    together.sort(key=lambda r: r.value or 0.0)
    if len(together) == len(rated):
        pairs = list(zip(together, rated, strict=True))
        if all(BIJECTION[0] <= (r.value or 0.0) / (m.value or 1.0) <= BIJECTION[1] for r, m in pairs):
            return next(m for r, m in pairs if r is anchor)
    off = [(abs(anchor.value / (m.value or 1.0) - 1), m) for m in rated]
    close = [m for share, m in off if share <= CLOSE]
    if len(close) == 1 and all(share > APART for share, m in off if m is not close[0]):
        return close[0]
    return None


def _side(reading: Reading) -> str:
    """`fan` or `compressor` when the place names a side of a dual capacitor; else empty."""
    said = words(reading.place)
    if said & {"fan"}:
        return "fan"
    return "compressor" if said & {"herm", "hermetic", "compressor", "comp"} else ""


def _said_tolerance(job: Job, marking: Reading | None) -> Reading | None:
    """A tolerance that was said as a percentage of its own, for a marking that carries none."""
    if marking is None or marking.tolerance_pct is not None:
        return None
    said = [
        r
        for r in job.of(Quantity.PERCENTAGE, MARKED_ROLES)
        if r.subject == marking.subject and r.value and 0 < r.value <= LARGEST_TOLERANCE and near(job, r, marking)
    ]
    return said[0] if len({figures(r) for r in said}) == 1 else None


@dataclass(frozen=True)
class Tolerance:
    """The tolerance of a marking in percent, and the limits of ours that it rests on (none when it was marked)."""

    band: Band
    text: str
    defaults: tuple[Limit, ...]


def tolerance(case: Case) -> Tolerance:
    """The marked tolerance of a case's marking, or the default; the last fifth is marginal."""
    low, high = case.limits.limit("low"), case.limits.limit("high")
    marked = case.bound["marking"].tolerance_pct
    said = case.groups.get("tolerance")
    if not marked and said and said[0].value:
        marked = (said[0].value, said[0].value)
    minus, plus = -low.value, high.value
    defaults: tuple[Limit, ...] = (low, high)
    if marked and not (low.from_shop or high.from_shop):
        minus, plus, defaults = abs(marked[0]), abs(marked[1]), ()
    text = f"±{minus:g} %" if minus == plus else f"−{minus:g}/+{plus:g} %"
    return Tolerance(Band.m20(-minus, plus), text, defaults)


def nominal(case: Case) -> tuple[float, float] | Missing:
    """Both ends of a marking in microfarads, equal for a single one; of a dual marking the side that was measured."""
    low, high = case.span("marking", "uF")
    if low <= 0:
        return nothing_marked(case)
    if high / low < DUAL_FROM:
        return low, high
    measured = case.num("measured", "uF") if case.has("measured") else 0.0
    side = SIDES.get(_side(case.anchor))
    if side is not None:
        return ((low, low), (high, high))[side]
    close = [end for end in (low, high) if abs(measured / end - 1) <= CLOSE]
    if len(close) == 1:
        return close[0], close[0]
    return Missing("which side of the dual capacitor was measured", unclear=True, reference=False)


def nothing_marked(case: Case) -> Missing:
    """For a marking that holds no usable figure."""
    return Missing(f"marking of the {case.anchor.subject} (microfarads)")
