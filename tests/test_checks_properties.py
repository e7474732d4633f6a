"""No combination of readings raises, none gives a verdict with a missing need, and units never change a verdict."""

from __future__ import annotations

from functools import cache

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from extractors.facts import Equipment, Evidence, Qualifier, Quantity, Rating, Reading, Role, Said, Stage
from extractors.units import convert, units
from pipeline.checks import check
from pipeline.checks.limits import all_limits
from pipeline.checks.refrigerants import refrigerants
from pipeline.checks.registry import discover
from pipeline.checks.trends import trends
from pipeline.draft import Draft, Verdict

PLACES = (
    None,
    "left",
    "L1",
    "L2",
    "L3",
    "leg two",
    "common to run",
    "common to start",
    "run to start",
    "to ground",
    "on",
    "off",
)
MACHINES = (
    None,
    "walk-in freezer",
    "reach-in cooler",
    "split system heat pump",
    "gas furnace",
    "ice machine",
    "high temp dish machine",
)
SOME = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@cache
def wanted() -> tuple[tuple[str, str, str, str], ...]:
    """(quantity, unit, subject, role) of everything that any rule looks for."""
    found = {
        (need.quantity.value, need.unit, subject, role.value)
        for rule in discover()
        for need in rule.needs
        for subject in (need.subjects or ("unit",))
        for role in need.roles
    }
    return tuple(sorted(found))


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    """A reading such as rules look for, with any figure, unit of its dimension, place, stage and qualifiers."""
    quantity, unit, subject, role = draw(st.sampled_from(wanted()))
    same = [name for name, one in units().items() if one.dimension == units()[unit].dimension]
    number = st.floats(-500, 5000, allow_nan=False) | st.sampled_from([0.0, 41.0, 115.0, 208.0, -0.0, 1e-9, 1e12])
    ends = draw(st.none() | st.tuples(number, number))
    return Reading(
        id="r0",
        quantity=Quantity(quantity),
        subject=subject,
        role=Role(role),
        value=None if ends else draw(number),
        low=min(ends) if ends else None,
        high=max(ends) if ends else None,
        unit=draw(st.sampled_from([*same, None])),
        place=draw(st.sampled_from(PLACES)),
        of=draw(st.sampled_from([None, "CO", "O2", "chlorine", "iodine", "wet bulb"])),
        rating=draw(st.sampled_from([None, *Rating])),
        qualifiers=tuple(draw(st.sets(st.sampled_from(list(Qualifier)), max_size=2))),
        stage=draw(st.sampled_from([None, *Stage])),
        tolerance_pct=draw(st.none() | st.tuples(st.floats(0, 50), st.floats(0, 50))),
        at=draw(st.none() | st.floats(0, 7200)),
        evidence=Evidence(
            quote=draw(st.sampled_from(["", "two pounds eighteen", "in harvest"])),
            line=draw(st.none() | st.integers(1, 90)),
        ),
        confirm=draw(st.sampled_from([(), ("low confidence",)])),
    )


@st.composite
def drafts(draw: st.DrawFn) -> Draft:
    """A job of a few readings on some machine."""
    every = draw(st.lists(readings(), max_size=14))
    named = tuple(one.model_copy(update={"id": f"r{place}"}) for place, one in enumerate(every, start=1))
    name = draw(st.sampled_from([None, "R-999", *refrigerants()]))
    machine = draw(st.sampled_from(MACHINES))
    equipment = Equipment(type=Said(value=machine) if machine else None, refrigerant=Said(value=name) if name else None)
    return Draft(readings=named, equipment=equipment)


@given(drafts(), st.none() | st.floats(-1000, 12000))
@SOME
def test_nothing_raises_and_every_entry_is_whole(draft: Draft, altitude: float | None) -> None:
    result = check(draft, altitude_ft=altitude)

    assert result.problems == ()
    ids = {reading.id for reading in result.readings}
    assert [one.id for one in result.checks] == [f"c{number}" for number in range(1, len(result.checks) + 1)]
    for one in result.checks:
        assert one.rule in all_limits()
        assert one.readings and set(one.readings) <= ids
        assert one.message.endswith((".", "?")) and "{" not in one.message and "None" not in one.message
        assert (one.value is None) == (one.verdict is Verdict.NO_REFERENCE)
    assert {reading.id for reading in draft.readings} == ids


@given(drafts())
@SOME
def test_no_verdict_with_a_missing_need(draft: Draft) -> None:
    """What a rule asks for when it is missing is among the readings of every verdict it gives."""
    rules = {rule.name: rule for rule in discover()}
    result = check(draft)
    for one in result.checks:
        if one.verdict is Verdict.NO_REFERENCE:
            continue
        rule = rules[one.rule]
        used = [result.reading(name) for name in one.readings]
        assert any(rule.needs[0].accepts(reading) or need.accepts(reading) for reading in used for need in rule.needs)
        if rule.refrigerant:
            assert draft.equipment.refrigerant and draft.equipment.refrigerant.value in refrigerants()
        assert not any(reading.superseded_by for reading in used)
        for reading in used:
            assert reading.unit is not None


@given(drafts())
@SOME
def test_units_never_change_a_verdict(draft: Draft) -> None:
    """The same figures in other units give the same rules the same verdicts on the same readings."""
    before, after = check(draft), check(draft.model_copy(update={"readings": tuple(_other(r) for r in draft.readings)}))
    one, two = ({(c.rule, c.readings): c.verdict for c in result.checks} for result in (before, after))
    assert one == two


PLAIN = {
    "V": "mV", "A": "mA", "uA": "mA", "W": "kW", "kW": "W", "ohm": "kohm", "degF": "degC", "degC": "degF",
    "delta_degF": "delta_degC", "delta_degC": "delta_degF", "lb": "kg", "oz": "g", "g": "oz", "kg": "lb",
    "min": "s", "s": "min", "h": "min",
}  # fmt: skip
"""Units that say the same thing; gauge and fine pressures, tons and megohms also tell how a figure was taken."""


def _other(reading: Reading) -> Reading:
    """The reading in another unit."""
    to = PLAIN.get(reading.unit or "")
    if to is None:
        return reading
    ends = {
        name: None if value is None else convert(value, reading.unit or "", to)
        for name, value in (("value", reading.value), ("low", reading.low), ("high", reading.high))
    }
    return reading.model_copy(update={**ends, "unit": to})


@given(drafts())
@SOME
def test_trends_hold_their_points_in_order(draft: Draft) -> None:
    for trend in trends(draft):
        minutes = [point.minutes for point in trend.points]
        assert minutes[0] == 0
        assert minutes == sorted(set(minutes))
        assert {draft.reading(point.reading).unit for point in trend.points} == {trend.unit}
