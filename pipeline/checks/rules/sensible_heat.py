"""Airflow, the heat it carries, and airflow per ton of cooling."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks import wording
from pipeline.checks.air import airflow_cfm, sensible_btuh
from pipeline.checks.air_side import RETURN, SUPPLY, air_cases
from pipeline.checks.binding import match
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import companion
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit

AIR = ("supply air", "return air", "duct", "unit", "blower motor", "evaporator")
OTHER_HEAT = frozenset({"air_conditioning", "gas_heat"})
"""Machines whose air is warmed by more than the electric heater."""
TON_UNITS = ("ton",)


def _tons(reading: Reading) -> bool:
    return reading.unit in TON_UNITS


FLOW = Need("flow", Quantity.FLOW, "cfm", AIR, where=lambda reading: reading.unit in ("cfm", "cfh", "L/s"))
TONS = Need("tons", Quantity.POWER, "ton", ("unit", "compressor", "system"), (Role.RATED,), where=_tons)
HEATER = Need("heater", Quantity.POWER, "BTU/h", ("heating element",), (Role.MEASURED, Role.RATED))


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each airflow with the air temperatures or the tonnage; without an airflow, an electric heater and its rise."""
    pairs = list(air_cases(job, limits))
    flows = [r for r in job.of(Quantity.FLOW, (Role.MEASURED,)) if FLOW.accepts(r)]
    for anchor in flows:
        bound = {"flow": anchor}
        tons = match(job, anchor, TONS).reading
        if tons:
            bound["tons"] = tons
        supply = companion(job, anchor, [case.bound["supply"] for case in pairs]).reading
        for case in pairs:
            if case.bound["supply"] is supply:
                bound |= {"return": case.bound["return"], "supply": case.bound["supply"]}
        if len(bound) > 1:
            yield Case(job, limits, bound)
    if not flows:
        for case in pairs:
            heater = match(job, case.bound["supply"], HEATER).reading
            if heater and not case.kinds & OTHER_HEAT and case.num("supply", "degF") > case.num("return", "degF"):
                yield replace(case, bound={"heater": heater, **case.bound})


def judge(case: Case) -> Outcome | Missing | None:
    """Airflow per ton is judged; what else can be worked out stands in `computed` of an entry without a verdict."""
    change = abs(case.num("supply", "degF") - case.num("return", "degF")) if case.has("supply") else 0.0
    height = f" at {case.job.altitude_ft:g} ft" if case.job.altitude_ft else ""
    if case.has("heater"):
        if change <= 0:
            return None
        cfm = airflow_cfm(case.num("heater", "BTU/h"), change, case.job.atmosphere)
        text = f"{case.said('heater')} at a rise of {case.show(change, 'delta_degF')}{height} is an airflow of about"
        return _computation(case, f"{text} {wording.amount(cfm, 'cfm')}", airflow=(cfm, "cfm"))
    heat = sensible_btuh(case.num("flow", "cfm"), change, case.job.atmosphere)
    if case.has("tons"):
        tons = case.span("tons", "ton")[0]
        if tons <= 0:
            return None
        per_ton = case.num("flow", "cfm") / tons
        band = case.limits.band()
        return case.judged(
            per_ton,
            band,
            "cfm",
            result=f"{wording.figure(per_ton)} cfm a ton",
            against=f"{band.in_low:g} to {band.in_high:g} cfm a ton, {case.said('tons')}",
            basis=from_limit(case.limits.limit("in_low")),
            computed={"sensible heat": (heat, "BTU/h")} if change else None,
        )
    if change <= 0:
        return None
    text = f"{case.said('flow')} at a change of {case.show(change, 'delta_degF')}{height} carries about"
    return _computation(case, f"{text} {wording.amount(heat, 'BTU/h')}", sensible_heat=(heat, "BTU/h"))


def _computation(case: Case, text: str, **values: tuple[float, str | None]) -> Missing:
    """An entry that gives a figure; a verdict would need the tonnage of the machine."""
    return Missing(
        "tons of cooling", sentence=f"{wording.opening(text)}; no verdict without the rated tons.",
        computed=case.computed(**values),
    )  # fmt: skip


RULE = Rule("sensible-heat", (FLOW, TONS, RETURN, SUPPLY, HEATER), judge, cases=cases)
