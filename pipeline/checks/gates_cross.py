"""Gates that hold one figure against another: pressures, plates, stages, legs, power, series."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from extractors.facts import Alternative, Qualifier, Quantity, Rating, Reading, Role
from extractors.units import convert
from pipeline.checks import capacitors, circuit, saturation, wording
from pipeline.checks.air import absolute_psia
from pipeline.checks.gates import Flag, Gate, settings
from pipeline.checks.job import Job
from pipeline.checks.legs import unbalance_pct
from pipeline.checks.pairing import companion, figures, identity, leg_sets, near, same_moment, same_place, unsteady
from pipeline.checks.rule import NOT_STEADY
from pipeline.checks.rules.winding_resistance_sum import terminals
from pipeline.checks.subjects import DRIVEN, LEG_TO_LEG, SUPPLY
from pipeline.checks.trends import minutes_of

RUNNING_PRESSURES = ("suction pressure", "head pressure")
OUNCES = re.compile(
    r"pounds?,?\s+(?:and\s+)?(?P<oz>\d+|sixteen|seventeen|eighteen|nineteen|(?:twenty|thirty|forty|fifty)[\s-]?\w*)\b"
    r"(?!\s*(?:pounds?|psi|degrees?|minutes?|%|percent|point))",
    re.IGNORECASE,
)


def measured(job: Job, quantity: Quantity, *subjects: str) -> list[Reading]:
    """Measured readings of a quantity about the given subjects, or about any."""
    return [r for r in job.of(quantity, (Role.MEASURED,)) if not subjects or r.subject in subjects]


def _running(job: Job, subject: str) -> list[Reading]:
    """Pressures of the running machine."""
    return [
        r
        for r in measured(job, Quantity.PRESSURE, subject)
        if not NOT_STEADY & set(r.qualifiers) and r.value is not None and r.unit in ("psig", "kPa", "bar", "inHg")
    ]


def _psia(job: Job, reading: Reading) -> float:
    return absolute_psia(reading.value or 0.0, reading, job.atmosphere)


def swapped(job: Job) -> Iterator[Flag]:
    """Suction above head of one running moment. Equal pressures are a machine at rest."""
    heads = _running(job, "head pressure")
    for suction in _running(job, "suction pressure"):
        head = companion(job, suction, [r for r in heads if near(job, r, suction)]).reading
        if head and _psia(job, suction) > _psia(job, head):
            for reading in (suction, head):
                yield Flag(reading.id, "does not fit: suction and head may be swapped")


def impossible_saturation(job: Job) -> Iterator[Flag]:
    """Running pressures whose saturation temperature is out of this world for the refrigerant."""
    bounds = settings()["saturation"]
    for subject, (low, high) in zip(RUNNING_PRESSURES, (bounds["suction"], bounds["head"]), strict=True):
        for reading in _running(job, subject):
            refrigerant = job.refrigerant_of(reading)
            if refrigerant is None or unsteady(reading):
                continue
            try:
                saturated = saturation.middle_degf(refrigerant.name, _psia(job, reading))
            except saturation.OutsideTable:
                saturated = None
            if saturated is None or not low <= saturated <= high:
                shown = f" ({wording.amount(saturated, 'degF')})" if saturated is not None else ""
                yield Flag(reading.id, f"does not fit: {wording.said(reading)} of {refrigerant.name}{shown}")


def impossible_difference(job: Job) -> Iterator[Flag]:
    """Superheat and subcooling that cannot be, and those that contradict what was said outright."""
    bounds = settings()["cross"]
    for side, rule in ((circuit.SUPERHEAT, "superheat"), (circuit.SUBCOOLING, "subcooling")):
        for case in circuit.cases(job, job.limits[rule], side):
            computed = circuit.computed_difference(case, side)
            if computed is None or not near(job, case.bound["line"], case.bound["pressure"]):
                continue
            low, high = bounds[rule]
            parts = (case.bound["line"], case.bound["pressure"])
            if case.has("stated"):
                stated = case.num("stated", "delta_degF")
                apart = abs(stated - computed[0])
                if apart > bounds["disagree"] and near(job, case.bound["stated"], case.bound["line"]):
                    text = f"does not fit: {rule} works out at {wording.amount(computed[0], 'delta_degF')}"
                    yield from (Flag(r.id, text) for r in (*parts, case.bound["stated"]))
            elif not low <= computed[0] <= high:
                text = f"does not fit: {rule} of {wording.amount(computed[0], 'delta_degF')} from pressure, line and "
                text += "refrigerant"
                yield from (Flag(r.id, text) for r in parts)
            elif abs(computed[0]) <= bounds["converted"]:
                text = "does not fit: line and saturation are equal, is one of them a converted figure?"
                yield from (Flag(r.id, text) for r in parts)


def saturation_said(job: Job) -> Iterator[Flag]:
    """A saturation temperature said beside its pressure that the table does not bear out."""
    most = settings()["cross"]["saturation_disagree"]
    for subject in RUNNING_PRESSURES:
        pressures = _running(job, subject)
        for reading in measured(job, Quantity.TEMPERATURE, subject):
            refrigerant = job.refrigerant_of(reading)
            pressure = companion(job, reading, [p for p in pressures if near(job, p, reading)]).reading
            if refrigerant is None or pressure is None or reading.value is None or reading.unit is None:
                continue
            try:
                ends = (
                    saturation.bubble(refrigerant.name).degf(_psia(job, pressure)),
                    saturation.dew(refrigerant.name).degf(_psia(job, pressure)),
                )
            except saturation.OutsideTable:
                continue
            said = convert(reading.value, reading.unit, "degF")
            if not min(ends) - most <= said <= max(ends) + most:
                text = f"does not fit: {wording.said(pressure)} of {refrigerant.name} is "
                text += wording.amount(sum(ends) / 2, "degF")
                yield from (Flag(r.id, text) for r in (reading, pressure))


def decimal_point(job: Job) -> Iterator[Flag]:
    """A figure that fits its rating, or the other stage, when its decimal point moves one place."""
    share = settings()["cross"]["decimal_pct"] / 100
    for reading in (*measured(job, Quantity.CURRENT, *DRIVEN), *measured(job, Quantity.CAPACITANCE)):
        if reading.value is None or reading.value <= 0 or NOT_STEADY & set(reading.qualifiers):
            continue
        beside = _same_thing(job, reading, (Role.RATED,))
        what = "rating"
        if not beside:
            others = _same_thing(job, reading, (Role.MEASURED,))
            beside = [o for o in others if o.stage is not reading.stage and reading.stage and o.stage]
            what = "other stage"
        if not beside or any(_close(reading.value, o.value or 0.0, share) for o in beside):
            continue
        for factor in (10.0, 0.1):
            moved = round(reading.value * factor, 6)
            if any(_close(moved, o.value or 0.0, share) for o in beside):
                text = f"decimal point: {wording.plain(moved)} would fit the {what}"
                yield Flag(reading.id, text, (Alternative(value=moved, unit=reading.unit),))
                break


def _same_thing(job: Job, reading: Reading, roles: tuple[Role, ...]) -> list[Reading]:
    """Other single figures about the same thing in the same unit."""
    every = job.of(reading.quantity, roles)
    return [
        other
        for other in every
        if other is not reading
        and not (reading.quantity is Quantity.CAPACITANCE and capacitors.derived(job, other, every))
        and other.subject == reading.subject
        and other.unit == reading.unit
        and other.value
        and same_place(other, reading)
        and not NOT_STEADY & set(other.qualifiers)
        and other.rating not in (Rating.LRA, Rating.MCA, Rating.MOCP)
    ]


def _close(value: float, other: float, share: float) -> bool:
    return other > 0 and abs(value / other - 1) <= share


def teen_or_ty(job: Job) -> Iterator[Flag]:
    """Thirteen or thirty: the other one fits the rating and this one does not."""
    cross = settings()["cross"]
    for quantity in (Quantity.CURRENT, Quantity.CAPACITANCE, Quantity.VOLTAGE):
        for reading in measured(job, quantity):
            other = _other_ty(reading.value)
            if other is None or NOT_STEADY & set(reading.qualifiers):
                continue
            for rated in _same_thing(job, reading, (Role.RATED,)):
                near_other = _close(other, rated.value or 0.0, cross["teen_near_pct"] / 100)
                far = not _close(reading.value or 0.0, rated.value or 0.0, cross["teen_far_pct"] / 100)
                if near_other and far:
                    text = f"teen or ty: {wording.plain(other)} would fit the rating"
                    yield Flag(reading.id, text, (Alternative(value=other, unit=reading.unit),))
                    break


def _other_ty(value: float | None) -> float | None:
    """30 for 13, 13 for 30, up to 19 and 90; None for any other figure."""
    if value is None or value != int(value):
        return None
    whole = int(value)
    if 13 <= whole <= 19:
        return float((whole - 10) * 10)
    return float(whole // 10 + 10) if whole % 10 == 0 and 30 <= whole <= 90 else None


def leg_off(job: Job) -> Iterator[Flag]:
    """One leg-to-leg voltage far from the mean of the other two."""
    most = settings()["cross"]["leg_off_pct"] / 100
    volts = [
        r
        for r in measured(job, Quantity.VOLTAGE, *LEG_TO_LEG)
        if r.value is not None and not NOT_STEADY & set(r.qualifiers)
    ]
    for legs in leg_sets(job, volts):
        if len(legs) < 3 or unbalance_pct([leg.value or 0.0 for leg in legs.values()]) is None:
            continue
        off = []
        for leg in legs.values():
            others = [o.value or 0.0 for o in legs.values() if o is not leg]
            mean = sum(others) / 2
            if mean > 0 and abs((leg.value or 0.0) / mean - 1) > most and _close(others[0], others[1], most):
                off.append(leg)
        if len(off) == 1:
            yield Flag(off[0].id, "does not fit: more than 10 % from the other two legs")


def leg_to_neutral(job: Job) -> Iterator[Flag]:
    """A leg to neutral that meets the leg-to-leg voltage neither by 2 nor by the root of 3."""
    share = settings()["cross"]["neutral_pct"] / 100
    pairs = [r for r in measured(job, Quantity.VOLTAGE, *LEG_TO_LEG) if r.value and r.value > 150]
    for leg in measured(job, Quantity.VOLTAGE, "L1", "L2", "L3"):
        if not leg.value or not 90 <= leg.value <= 300:
            continue
        beside = [r for r in pairs if leg.subject in r.subject and same_moment(job, r, leg)]
        fits = any(_close(leg.value * ratio, r.value or 0.0, share) for r in beside for ratio in (1.0, 2.0, 3**0.5))
        if beside and not fits:
            yield Flag(leg.id, "does not fit: leg to neutral and leg to leg do not go together")


def name_of_a_supply(job: Job) -> Iterator[Flag]:
    """110, 115, 220 or 230 V to the digit, without a word that shows an instrument: perhaps only the supply's name."""
    for reading in measured(job, Quantity.VOLTAGE, *SUPPLY):
        if reading.value in (110, 115, 220, 230) and not reading.qualifiers and not _by_instrument(job, reading):
            yield Flag(reading.id, "may be rated: it may be the name of the supply")


def equals_rated(job: Job) -> Iterator[Flag]:
    """A current or capacitance equal to its rating to the digit, where the words do not say that it was measured."""
    for quantity in (Quantity.CURRENT, Quantity.CAPACITANCE):
        for reading in measured(job, quantity):
            if reading.value is None or NOT_STEADY & set(reading.qualifiers) or _by_instrument(job, reading):
                continue
            rated = [o for o in _same_thing(job, reading, (Role.RATED,)) if near(job, o, reading)]
            if any(o.value == reading.value for o in rated):
                yield Flag(reading.id, "may be rated: read from the meter or from the label?")


def _by_instrument(job: Job, reading: Reading) -> bool:
    """Whether the words round a figure show that it was read off an instrument; true for a table without words."""
    text = f" {job.context(reading)} ".casefold()
    return not text.strip() or any(cue in text for cue in settings()["cross"]["instrument"])


def too_much_power(job: Job) -> Iterator[Flag]:
    """Watts above volts times amps of the same thing and moment."""
    cross = settings()["cross"]
    for watts in measured(job, Quantity.POWER):
        if watts.value is None or watts.unit not in ("W", "kW"):
            continue
        amps = companion(job, watts, [r for r in measured(job, Quantity.CURRENT) if r.subject == watts.subject]).reading
        volts = companion(job, watts, measured(job, Quantity.VOLTAGE, *SUPPLY)).reading
        if not (amps and volts and amps.value and volts.value):
            continue
        phases = 3**0.5 if volts.subject in LEG_TO_LEG else 1.0
        most = volts.value * convert(amps.value, amps.unit or "A", "A") * phases * cross["power_factor"]
        if convert(watts.value, watts.unit, "W") > most * cross["power_slack"]:
            yield from (Flag(r.id, "does not fit: more watts than volts times amps") for r in (watts, amps, volts))


def ounces_over_a_pound(job: Job) -> Iterator[Flag]:
    """Sixteen ounces and more said after pounds."""
    for reading in job.readings:
        if reading.quantity is not Quantity.MASS:
            continue
        found = OUNCES.search(reading.evidence.quote)
        if found and (not found["oz"].isdigit() or int(found["oz"]) >= settings()["cross"]["ounces_of_a_pound"]):
            yield Flag(reading.id, "does not fit: sixteen ounces and more after pounds")


def plate_labels(job: Job) -> Iterator[Flag]:
    """Plate currents that cannot stand side by side: MCA below RLA, MOCP below MCA, LRA no multiple of RLA."""
    low, high = settings()["cross"]["locked_multiple"]
    rated = [r for r in job.of(Quantity.CURRENT, (Role.RATED,)) if r.value and r.unit == "A"]
    kinds: dict[Rating, list[Reading]] = {}
    for reading in rated:
        kind = Rating.LRA if Qualifier.LOCKED_ROTOR in reading.qualifiers else reading.rating
        if kind:
            kinds.setdefault(kind, []).append(reading)
    text = "does not fit: the labels of the plate's amps may be swapped"
    for smaller, larger in ((Rating.RLA, Rating.MCA), (Rating.MCA, Rating.MOCP)):
        for one in kinds.get(smaller, ()):
            for other in kinds.get(larger, ()):
                if same_place(one, other) and (one.value or 0.0) > (other.value or 0.0):
                    yield from (Flag(r.id, text) for r in (one, other))
    for locked in kinds.get(Rating.LRA, ()):
        for running in (*kinds.get(Rating.RLA, ()), *kinds.get(Rating.FLA, ())):
            ratio = (locked.value or 0.0) / (running.value or 1.0)
            if running.subject == locked.subject and same_place(running, locked) and not low <= ratio <= high:
                yield from (Flag(r.id, text) for r in (locked, running))


def backwards(job: Job) -> Iterator[Flag]:
    """A time of a series that lies before the one said earlier, though it is no new series."""
    groups: dict[object, list[Reading]] = {}
    for reading in job.readings:
        if minutes_of(reading) is not None and reading.role is Role.MEASURED:
            key = (reading.quantity, reading.subject, identity(reading.place), reading.stage)
            groups.setdefault(key, []).append(reading)
    for group in groups.values():
        times = [minutes_of(reading) or 0.0 for reading in group]
        for place, (earlier, later) in enumerate(pairwise(times), start=1):
            after = times[place + 1] if place + 1 < len(times) else None
            if 0 < later < earlier and after is not None and after > earlier:
                yield Flag(group[place].id, "does not fit: its time lies before the one said earlier")


def corrected_twice(job: Job) -> Iterator[Flag]:
    """A figure whose correction was corrected again."""
    replaced = {r.id: r.superseded_by for r in job.draft.readings if r.superseded_by}
    followed = {new for new in replaced.values() if new in replaced}
    for reading in job.readings:
        if any(replaced.get(middle) == reading.id for middle in followed) and not _refined(job, reading, replaced):
            yield Flag(reading.id, "corrected twice")


def _refined(job: Job, reading: Reading, replaced: dict[str, str]) -> bool:
    """Whether all earlier tries were the same figure, said again or made finer."""
    by_id = {r.id: r for r in job.draft.readings}
    chain = [by_id[old] for old, new in replaced.items() if new == reading.id or replaced.get(new) == reading.id]
    return all(figures(r) == figures(reading) for r in chain)


def refrigerant_doubt(job: Job) -> str | None:
    """A reason to confirm the refrigerant: another one was named in a charge, and nobody told of a conversion."""
    said = job.draft.equipment.refrigerant
    charged = job.charged_with
    if said is None or charged is None or charged == said.value:
        return None
    return f"does not fit: {charged} was charged"


def winding_in_amps(job: Job) -> Iterator[Flag]:
    """Amps between two terminals of a winding: those are ohms."""
    for reading in measured(job, Quantity.CURRENT, *DRIVEN):
        if len(terminals(reading.place)) == 2:
            yield Flag(reading.id, "unit not said: between two terminals it would be ohms")


GATES: tuple[Gate, ...] = (
    swapped, impossible_saturation, impossible_difference, saturation_said, decimal_point, teen_or_ty, leg_off,
    leg_to_neutral, name_of_a_supply, equals_rated, too_much_power, ounces_over_a_pound, plate_labels, backwards,
    corrected_twice, winding_in_amps,
)  # fmt: skip
