"""The refrigerant account: what went in, out and stayed, by the words and the work, never by a guess."""

from __future__ import annotations

import pytest
from checking import action, cases, job

from extractors.facts import Segment, Transcript
from pipeline.checks import check
from pipeline.checks.charge import annualized_pct, kind_of, rolling_pct
from pipeline.checks.job import Job
from pipeline.checks.refrigerants import named_in, refrigerant, refrigerants
from pipeline.draft import Draft
from pipeline.refrigerant_account import refrigerant_account

MASS = "measured mass | refrigerant charge | {} | {}"
PLATE = "rated mass | refrigerant charge | 134 oz"


def quoted(text: str) -> str:
    return f"quote={text.replace(' ', '_')}"


@cases(
    "said, kind",
    """
    recovery scale says 5 pounds, recovered; pulled out 5 pounds, recovered; added 2 pounds, added;
    topped it off 2 pounds, added;
    weighed in 9 pounds, total; charging scale shows 9 pounds, total; it lost about 3 pounds, lost; 3 pounds, -;
    twelve pounds in, added;
    """,
)
def test_words_say_what_an_amount_is(said: str, kind: str | None) -> None:
    work = Job(job(MASS.format("5 lb", quoted(said))))
    assert kind_of(work, work.readings[0]) == kind


def test_the_words_round_a_figure_count_too() -> None:
    draft = job(MASS.format("5 lb", quoted("5 pounds") + " line=2"))
    transcript = Transcript(segments=(Segment(text="so I recovered 5 pounds out of it", line=2),))
    work = Job(draft.model_copy(update={"transcript": transcript}))
    assert kind_of(work, work.readings[0]) == "recovered"


@cases(
    "stage, done, kind",
    """
    as_found, recovered, recovered; as_left, evacuated charged, total; as_left, charged, added; as_left, -, -;
    as_left, recovered charged, -;
    """,
)
def test_the_work_says_what_an_amount_is(stage: str, done: str | None, kind: str | None) -> None:
    actions = tuple(action(one, "refrigerant charge") for one in (done or "").split())
    work = Job(job(MASS.format("5 lb", f"stage={stage}"), actions=actions))
    assert kind_of(work, work.readings[0]) == kind


def leak() -> Draft:
    """A machine that lost refrigerant, was emptied, repaired and filled."""
    return check(
        job(
            MASS.format("5.125 lb", "stage=as_found " + quoted("recovered 5 pounds 2")),
            MASS.format("9.125 lb", "stage=as_left " + quoted("charging scale shows 9 pounds 2")),
            PLATE,
            "expected mass | line set | 12 oz",
            MASS.format("1 lb", ""),
            refrigerant="R-410A",
            actions=(action("recovered", "refrigerant charge"), action("charged", "refrigerant charge")),
        )
    )


def test_amounts_against_the_plate() -> None:
    account = refrigerant_account(leak())
    assert account.recovered and account.total and account.plate and account.line_additions and account.unclear
    assert (account.recovered.text, account.total.text, account.plate.text) == ("5.125 lb", "9.125 lb", "134 oz")
    assert account.unclear.readings[0].id == "r5"
    assert account.against_plate_pct == pytest.approx(0, abs=1e-9)
    assert account.added is None and account.leak_rate_pct is None
    assert account.touched
    # R-410A: half R-32 (675), half R-125 (3500), AR4 as 40 CFR 84 uses it (from memory).
    assert account.co2e_recovered_t == pytest.approx(5.125 * 0.45359237 * 2087.5 / 1000)
    assert account.co2e_charge_t == pytest.approx(9.125 * 0.45359237 * 2087.5 / 1000)


def test_sums_and_doubts() -> None:
    added = MASS.format("{}", quoted("added") + " q={}")
    draft = job(added.format("2 lb", "approximate"), added.format("8 oz", "peak"), refrigerant="R-404A")
    account = refrigerant_account(check(draft))
    assert account.added and account.added.text == "2.5 lb"
    assert account.added.in_doubt
    assert account.co2e_added_t == pytest.approx(2.5 * 0.45359237 * 3921.6 / 1000)


def test_a_leak_rate_is_taken_from_its_rule() -> None:
    rows = (
        MASS.format("30 lb", quoted("added")), "rated mass | refrigerant charge | 400 lb",
        "measured duration | refrigerant charge | 120 d",
    )  # fmt: skip
    account = refrigerant_account(check(job(*rows, machine="rack", refrigerant="R-404A")))
    assert account.leak_rate_pct == pytest.approx(22.8125)
    small = refrigerant_account(
        check(job(rows[0].replace("30", "1"), rows[1].replace("400", "10"), rows[2], refrigerant="R-404A"))
    )
    assert small.leak_rate_pct == pytest.approx(1 / 10 * 365 / 120 * 100)


def test_a_job_without_refrigerant() -> None:
    account = refrigerant_account(Draft())
    assert not account.touched
    assert (account.refrigerant, account.plate, account.co2e_charge_t) == (None, None, None)


def test_two_plate_charges_are_none() -> None:
    assert refrigerant_account(job(PLATE, PLATE.replace("134", "52"))).plate is None


@cases("added, full, days, rate", "30, 400, 120, 22.8125; 48, 400, 365, 12; 70, 400, 700, 17.5;")
def test_leak_rates_by_both_methods(added: float, full: float, days: float, rate: float) -> None:
    """40 CFR 82.152 and 84.102, formulas from secondary pages; beyond a year both methods agree."""
    assert annualized_pct(added, full, days) == pytest.approx(rate)
    assert rolling_pct(48, 400) == pytest.approx(12)


@cases(
    "name, gwp, rounded",
    """
    R-404A, 3922, 1; R-507A, 3985, 1; R-410A, 2088, 1; R-407A, 2107, 1; R-407C, 1774, 1; R-407F, 1825, 1;
    R-448A, 1387, 1; R-449A, 1397, 1; R-450A, 605, 4; R-452A, 2140, 1; R-452B, 698, 1; R-454A, 239, 2;
    R-454B, 466, 1; R-454C, 148, 2;
    R-455A, 148, 2; R-513A, 631, 2; R-22, 1810, 0; R-134a, 1430, 0; R-32, 675, 0;
    """,
)
def test_global_warming_potentials(name: str, gwp: float, rounded: float) -> None:
    """Sums over the components on the AR4 scale (40 CFR 84 Appendix A, from memory); tables round differently."""
    assert refrigerants()[name].gwp == pytest.approx(gwp, abs=rounded + 0.5)


def test_compositions_are_whole_and_designations_are_read_as_people_write_them() -> None:
    import tomllib

    from pipeline.checks.refrigerants import DATA

    table = tomllib.loads(DATA.read_text(encoding="utf-8"))
    assert all(sum(row["mass_pct"].values()) == pytest.approx(100) for row in table.values() if "mass_pct" in row)
    for written in ("R-404A", "r404a", "404A", "R 404 A"):
        known = refrigerant(written)
        assert known and known.name == "R-404A"
    assert refrigerant("propane") is refrigerants()["R-290"]
    assert refrigerant("R-999") is None and refrigerant("") is None
    assert named_in("took the 404 out and put R448A and r-290 in") == ("R-448A", "R-290")
