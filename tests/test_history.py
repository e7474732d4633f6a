"""A machine's past: the same machine or a question, figures over the years, breaks, the refrigerant account."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from app_drafts import draft

from extractors.facts import Action, Evidence, Reading
from pipeline.history import Charge, Plate, breaks, charge_of, leak_rate, likeness, series_of

COOLER = Plate(type="reach-in cooler", model="RC-49", serial="K47-2209", site="feed store")


@pytest.mark.parametrize(
    ("other", "same", "asks"),
    [
        (COOLER, True, ""),
        (Plate(serial="k47 2209"), True, ""),
        (Plate(serial="K47-2209", site="elsewhere"), True, ""),
        (Plate(serial="K47-2209", model="WF-802"), False, "another model"),
        (Plate(serial="K47-2299"), False, "one letter apart"),
        (Plate(serial="K47-22O9"), False, "one letter apart"),
        (Plate(serial="K47-2290"), False, "one letter apart"),
        (Plate(serial="K47-229"), False, "one letter apart"),
        (Plate(serial="K47-2299", model="WF-802"), False, ""),
        (Plate(serial="M11-8813"), False, ""),
        (Plate(serial="K47-2209".replace("K", "B").replace("9", "3")), False, ""),
        (Plate(type="reach-in cooler", site="feed store"), False, "The same type at feed store"),
        (Plate(model="RC-49", type="reach-in cooler", site="Feed Store"), False, "The same model and type"),
        (Plate(type="reach-in cooler", site="bakery"), False, ""),
        (Plate(type="ice machine", site="feed store"), False, ""),
        (Plate(model="RC-49"), False, ""),
        (Plate(), False, ""),
    ],
    ids=str,
)
def test_only_the_same_serial_is_the_same_machine_and_near_ones_are_a_question(
    other: Plate, same: bool, asks: str
) -> None:
    for found in (likeness(COOLER, other), likeness(other, COOLER)):
        assert found.same is same
        assert bool(found.why) is bool(asks)
    assert asks.lower() in likeness(COOLER, other).why.lower()


def test_a_short_serial_proves_nothing() -> None:
    assert not likeness(Plate(serial="12"), Plate(serial="12")).same


@dataclass
class Row:
    """A figure of the past."""

    job_id: str
    day: str
    value: float
    subject: str = "run capacitor"
    quantity: str = "capacitance"
    unit: str = "uF"
    place: str = ""
    role: str = "measured"
    stage: str = "as_found"
    qualifiers: str = ""
    doubtful: bool = False


def test_a_series_holds_the_measured_figures_by_day_with_the_plate_beside_them() -> None:
    rows = [
        Row("b", "2025-05-01", 23.1),
        Row("a", "2024-05-01", 24.6),
        Row("c", "2026-05-01", 21.9),
        Row("c", "2026-05-01", 25.0, role="rated"),
        Row("c", "2026-05-01", 12.0, subject="compressor", quantity="current", unit="A"),
        Row("c", "2026-05-01", 60.0, subject="compressor", quantity="current", unit="A", qualifiers="inrush"),
        Row("c", "2026-05-01", 2.0, subject="refrigerant charge", quantity="mass", unit="lb"),
    ]
    capacitor, compressor = series_of(rows)
    assert [point.value for point in capacitor.points] == [24.6, 23.1, 21.9]
    assert (capacitor.visits, capacitor.rated) == (3, 25.0)
    assert [point.value for point in compressor.points] == [12.0]


@pytest.mark.parametrize(
    ("past", "breaking"),
    [
        ([25.0, 24.8, 24.9], False),
        ([22.5, 22.0], False),
        ([35.0, 34.0, 36.0], True),
        ([35.0], False),
        ([10.0, 40.0], False),
        ([], False),
    ],
)
def test_a_figure_breaks_with_the_past_of_two_visits_and_more(past: list[float], breaking: bool) -> None:
    rows = [Row(f"j{n}", f"202{n}-05-01", value) for n, value in enumerate(past)]
    assert ("r2" in breaks(draft(), rows, "now", "2026-05-01")) is breaking


def test_later_visits_and_the_job_itself_are_no_past() -> None:
    rows = [Row("now", "2026-05-01", 80.0), Row("later", "2027-05-01", 80.0), Row("later2", "2027-06-01", 80.0)]
    assert breaks(draft(), rows, "now", "2026-05-01") == {}


def charge(value: float, unit: str = "lb", confirm: tuple[str, ...] = ()) -> Reading:
    return Reading(
        id="r9", quantity="mass", subject="refrigerant charge", role="measured", value=value, unit=unit,
        evidence=Evidence(quote="two pounds"), confirm=confirm,
    )  # fmt: skip


def action(kind: str, status: str = "done") -> Action:
    return Action(
        id="a9", action=kind, component="refrigerant charge", status=status, text="", evidence=Evidence(quote="")
    )


@pytest.mark.parametrize(
    ("readings", "actions", "added", "recovered", "doubt"),
    [
        ([charge(2.0)], [action("charged")], 2.0, 0.0, ""),
        ([charge(32.0, "oz")], [action("charged")], 2.0, 0.0, ""),
        ([charge(0.90718474, "kg")], [action("recovered")], 0.0, 2.0, ""),
        ([charge(2.0, confirm=("teen or ty",))], [action("charged")], 2.0, 0.0, "second listen"),
        ([charge(2.0)], [action("charged"), action("recovered")], 0.0, 0.0, "both"),
        ([], [action("charged")], 0.0, 0.0, "no weight"),
    ],
)
def test_what_a_visit_did_to_the_charge(
    readings: list[Reading], actions: list[Action], added: float, recovered: float, doubt: str
) -> None:
    made = draft().model_copy(update={"readings": tuple(readings), "actions": tuple(actions)})
    told = charge_of(made, "j", "2026-03-14")
    assert told is not None
    assert (told.added_lb, told.recovered_lb) == (pytest.approx(added), pytest.approx(recovered))
    assert (doubt in told.open) if doubt else told.open == ""


def test_a_visit_that_did_not_touch_the_charge_is_not_in_the_account() -> None:
    planned = draft().model_copy(update={"readings": (charge(2.0),), "actions": (action("charged", "planned"),)})
    assert charge_of(planned, "j", "2026-03-14") is None


@pytest.mark.parametrize(
    ("days", "full", "rate"),
    [
        (["2025-03-14", "2026-03-14"], 20.0, 10.0),
        (["2025-09-12", "2026-03-14"], 20.0, 10.0 * 365 / 183),
        (["2020-03-14", "2026-03-14"], 20.0, 10.0),
        (["2026-03-14"], 20.0, None),
        (["2025-03-14", "2026-03-14"], None, None),
        (["2026-03-14", "2026-03-14"], 20.0, None),
    ],
)
def test_the_leak_rate_is_the_annualizing_method(days: list[str], full: float | None, rate: float | None) -> None:
    """40 CFR 82.152: added over full charge, times 365 over the days since the last, 365 at most (memory)."""
    told = leak_rate([Charge(day, "j", added_lb=2.0) for day in days], full)
    assert told == (pytest.approx(rate) if rate is not None else None)
