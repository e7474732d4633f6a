"""What refrigerant went in and out in a job: amounts, total against the plate, leak rate, carbon dioxide equivalent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from extractors.facts import Quantity, Reading, Role
from extractors.units import convert
from pipeline.checks.charge import MASS, PLATE, Kind, kind_of, line_additions
from pipeline.checks.job import Job
from pipeline.checks.pairing import figures
from pipeline.checks.refrigerants import Refrigerant, refrigerant
from pipeline.draft import Check, Draft, Verdict

if TYPE_CHECKING:
    from pipeline.checks import ShopSettings

KG_PER_T = 1000.0


@dataclass(frozen=True, slots=True)
class Amounts:
    """Weighed amounts of one kind. `kg` is their sum, `text` the sum in the unit that was said."""

    readings: tuple[Reading, ...]
    kg: float
    text: str

    @property
    def in_doubt(self) -> bool:
        """Whether one of them waits for a second listen or was only approximate."""
        return any(reading.confirm or "approximate" in reading.qualifiers for reading in self.readings)


@dataclass(frozen=True, slots=True)
class Account:
    """The refrigerant of one job; what nobody said is None, and the paper prints it as "not said".

    `unclear` are weighed amounts whose words do not say whether they went in or out: they are in no sum.
    `leak_rate` is the check of the rule refrigerant-leak-rate, with its rate and the sentence about the rule.
    """

    refrigerant: Refrigerant | None
    refrigerant_said: str | None
    refrigerant_in_doubt: bool
    plate: Amounts | None
    line_additions: Amounts | None
    recovered: Amounts | None
    added: Amounts | None
    total: Amounts | None
    lost: Amounts | None
    unclear: Amounts | None
    against_plate_pct: float | None
    leak_rate: Check | None
    leak_rate_pct: float | None
    co2e_added_t: float | None
    co2e_recovered_t: float | None
    co2e_charge_t: float | None

    @property
    def touched(self) -> bool:
        """Whether any refrigerant was weighed in this job."""
        return any((self.recovered, self.added, self.total, self.unclear))


def refrigerant_account(draft: Draft, *, shop: ShopSettings | None = None) -> Account:
    """The account of a draft whose checks are filled. Nothing is estimated: only weighed and plate amounts count."""
    from pipeline.checks.overrides import limits_for

    job = Job(draft, limits=limits_for(shop.limits if shop else {}))
    masses = [r for r in job.of(Quantity.MASS, (Role.MEASURED,)) if MASS.accepts(r)]
    additions = [r for r in line_additions(job) if r.role is not Role.MEASURED]
    plates = [r for r in job.of(Quantity.MASS, (Role.RATED,)) if PLATE.accepts(r) and r not in additions]
    said = draft.equipment.refrigerant
    known = refrigerant(job.charged_with or (said.value if said else None))
    sums: dict[Kind | None, Amounts | None] = {
        kind: amounts([r for r in masses if kind_of(job, r) == kind])
        for kind in ("recovered", "added", "total", "lost", None)
    }
    plate = amounts(plates[:1]) if len({figures(r) for r in plates}) == 1 else None
    rated = plate.kg + (amounts(additions) or Amounts((), 0.0, "")).kg if plate else 0.0
    # The last whole charge weighed in is the one that the machine was left with.
    total = amounts(sums["total"].readings[-1:]) if sums["total"] else None
    leak = next((c for c in draft.checks if c.rule == "refrigerant-leak-rate"), None)
    return Account(
        refrigerant=known,
        refrigerant_said=known.name if known else said.value if said else None,
        refrigerant_in_doubt=bool(said and said.confirm),
        plate=plate,
        line_additions=amounts(additions),
        recovered=sums["recovered"],
        added=sums["added"],
        total=total,
        lost=sums["lost"],
        unclear=sums[None],
        against_plate_pct=(total.kg / rated - 1) * 100 if total and rated > 0 else None,
        leak_rate=leak,
        leak_rate_pct=_rate(leak),
        co2e_added_t=_co2e(sums["added"], known),
        co2e_recovered_t=_co2e(sums["recovered"], known),
        co2e_charge_t=_co2e(total or plate, known),
    )


def amounts(readings: Sequence[Reading]) -> Amounts | None:
    """The sum of weighed amounts, in kg and in words of the unit that was said first; None when there are none."""
    from pipeline.checks import wording

    usable = [r for r in readings if r.unit is not None]
    if not usable:
        return None
    kg = sum(convert(_value(r), r.unit or "", "kg") for r in usable)
    text = wording.said(usable[0])
    if len(usable) > 1:
        unit = usable[0].unit or "kg"
        text = wording.amount(convert(kg, "kg", unit), unit)
    return Amounts(tuple(usable), kg, text)


def _value(reading: Reading) -> float:
    """The figure of a weight; of a range its upper end, for what went out must not be made smaller."""
    for value in (reading.value, reading.high, reading.low):
        if value is not None:
            return value
    return 0.0


def _rate(leak: Check | None) -> float | None:
    """The leak rate in percent a year, whether it was judged or only computed."""
    if leak is None:
        return None
    if leak.verdict is not Verdict.NO_REFERENCE:
        return leak.value
    computed = leak.computed.get("leak_rate")
    return computed.value if computed else None


def _co2e(mass: Amounts | None, known: Refrigerant | None) -> float | None:
    """Tonnes of carbon dioxide equivalent of a mass."""
    return mass.kg * known.gwp / KG_PER_T if mass and known else None
