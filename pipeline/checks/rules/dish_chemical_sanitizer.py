"""Chlorine or iodine in the rinse of a dish machine, and the temperature that it asks for."""

from __future__ import annotations

from extractors.facts import Quantity
from pipeline.checks.limits import Band
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit
from pipeline.checks.wording import figure

RINSE_SUBJECTS = ("final rinse", "rinse", "inlet water", "sanitizer", "unit", "rinse water")
AGENT = Need("agent", Quantity.CONCENTRATION, "ppm", of=("chlorine", "iodine"))
RINSE = Need("rinse", Quantity.TEMPERATURE, "degF", RINSE_SUBJECTS, missing="rinse temperature")
ACIDITY = Need("acidity", Quantity.ACIDITY, "pH", ())


def judge(case: Case) -> Outcome:
    """Rinse temperature against the lowest for the concentration; too weak or too strong a rinse is out by itself."""
    ppm, value = case.num("agent", "ppm"), case.num("rinse", "degF")
    iodine = case.anchor.of == "iodine"
    low, high = (
        (case.limits["iodine_low"], case.limits["iodine_high"]) if iodine else (case.limits["chlorine_low"], None)
    )
    name = "iodine_degf" if iodine else _least(case, ppm)
    limit = case.limits.limit(name)
    if ppm < low or (high is not None and ppm > high):
        ends = f"{low:g} to {high:g} ppm" if high else f"at least {low:g} ppm"
        return case.judged(
            ppm,
            Band(low=low, high=high),
            "ppm",
            result="too weak" if ppm < low else "too strong",
            against=ends,
            basis=from_limit(case.limits.limit("iodine_low" if iodine else "chlorine_low")),
            what=f"{(case.anchor.of or '').capitalize()} {case.said('agent')}",
        )
    return case.judged(
        value,
        Band(low=limit.value),
        "degF",
        what=f"Rinse {case.said('rinse')} with {case.said('agent')} of {case.anchor.of}",
        result="warm enough" if value >= limit.value else "too cold for it",
        against=f"at least {case.show(limit.value, 'degF')}",
        basis=from_limit(limit),
        computed={"concentration": (ppm, "ppm")},
        notes=[]
        if case.has("acidity") or iodine
        else [f"Taken at pH 10, for the acidity of {figure(ppm)} ppm was not said."],
    )


def _least(case: Case, ppm: float) -> str:
    """The limit that holds for a chlorine concentration and the acidity, if that was said."""
    if ppm >= case.limits["strong_ppm"]:
        return "strong_degf"
    if ppm >= case.limits["middle_ppm"]:
        acid = case.has("acidity") and case.num("acidity", "pH") <= case.limits["low_ph"]
        return "middle_low_ph_degf" if acid else "middle_degf"
    return "weak_degf"


RULE = Rule("dish-chemical-sanitizer", (AGENT, RINSE, ACIDITY), judge, never_soft=True)
