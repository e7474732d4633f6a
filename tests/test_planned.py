"""The day's list: what it takes, which recording a line is matched to, and that it never overwrites what was said."""

from __future__ import annotations

import re

import pytest
from app_drafts import draft
from app_people import ANN, BOB, OLA, signed_in
from app_store import ready_job
from hypothesis import given
from hypothesis import strategies as st
from starlette.applications import Starlette

from extractors.facts import Said
from pipeline.desk import Desk
from pipeline.draft import Draft
from pipeline.errors import InputError
from pipeline.store import planned
from pipeline.store.store import Store

DAY = "2026-03-14"
HEAD = "customer,site,reference,technician\n"


pytestmark = pytest.mark.usefixtures("quick_hashes")


def visited(site: str, customer: str = "") -> Draft:
    """The invented visit, at a place that was said."""
    made = draft()
    said = {"site": Said(value=site) if site else None, "customer": Said(value=customer) if customer else None}
    visit = made.visit.model_copy(update={**said, "reference": None, "date": Said(value=DAY)})
    return made.model_copy(update={"visit": visit})


def bring(store: Store, *lines: str) -> None:
    with store.database.writing() as session:
        planned.bring(session, DAY, planned.read_list(HEAD + "\n".join(lines)), "test")


def matched(store: Store) -> dict[str, tuple[str | None, str]]:
    with store.database.writing() as session:
        planned.match(session, DAY)
        return {
            row.row.site or row.row.customer: (row.row.job_id, row.row.matched_by)
            for row in planned.of_day(session, DAY)
        }


# What is taken


def test_a_list_is_read_with_commas_or_semicolons_in_any_order_of_columns() -> None:
    wanted = [planned.Line("Harrow Dairy", "North gate", "PO-4471", "Ann Field")]
    assert planned.read_list(HEAD + "Harrow Dairy,North gate,PO-4471,Ann Field\n\n") == wanted
    text = "\ufeffTechnician; Reference ;Customer;Site;Time\r\nAnn Field;PO-4471;Harrow  Dairy;North gate;8:30\r\n"
    assert planned.read_list(text) == wanted


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "no customer"),
        ("customer,site\nA,B\n", "no reference and no technician"),
        (HEAD, "no line"),
        (HEAD + "A,B,C\n", "line 2 has 3 cells"),
        (HEAD + "A,B,C,\n", "line 2 needs a technician"),
        (HEAD + ",,C,Ann\n", "a customer or a site"),
        (HEAD + f"{'A' * 201},B,C,Ann\n", "too long"),
        (HEAD + 'A,"B,C,Ann\n', "no valid CSV"),
        (HEAD + "A,B\x00,C,Ann\n", "cannot be used"),
        (HEAD + "A,B,C,Ann\n" * 2001, "more than 2000"),
    ],
)
def test_a_list_that_cannot_be_used_is_told_with_its_line(text: str, told: str) -> None:
    with pytest.raises(InputError, match=re.escape(told)):
        planned.read_list(text)


@given(st.text(max_size=300))
def test_any_text_is_a_list_or_a_sentence(text: str) -> None:
    for begun in (text, HEAD + text):
        try:
            assert planned.read_list(begun)
        except InputError as fault:
            assert fault.code == "wrong-list"


def test_the_same_line_twice_is_one_and_an_unknown_technician_brings_nothing(store: Store, ids: dict[str, str]) -> None:
    bring(store, "Harrow,North gate,1,Ann Field", "Harrow,north  GATE,1,ann field", "Harrow,Mill,1,Ann Field")
    assert len(matched(store)) == 2
    with pytest.raises(InputError, match="nobody here is called Zed"):
        bring(store, "Harrow,East,1,Ann Field", "Harrow,West,1,Zed")
    assert len(matched(store)) == 2


# What it is matched to


def test_a_line_gets_the_recording_in_which_its_site_was_said(store: Store, desk: Desk, ids: dict[str, str]) -> None:
    dock = ready_job(store, desk, visited("Dock nine"), name="a.m4a", owner=ids[ANN])
    mill = ready_job(store, desk, visited("Tallow Mill"), name="b.m4a", owner=ids[ANN])
    ready_job(store, desk, visited("Dock nine"), name="c.m4a", owner=ids[BOB])
    bring(store, "Harrow,Tallow mill,,Ann Field", "Harrow,dock NINE,,Ann Field", "Harrow,Dock,,Bob Field")
    bring(store, "Harrow,Cooler,,Bob Field")
    found = matched(store)
    assert found["Dock"][1] == "the site was said"
    # "Cooler" is said in every visit, and is no place.
    assert found["Cooler"] == (None, "")
    assert found["Tallow mill"] == (mill, "the site was said")
    assert found["dock NINE"] == (dock, "the site was said")


def test_where_two_could_be_meant_nobody_is_guessed(store: Store, desk: Desk, ids: dict[str, str]) -> None:
    ready_job(store, desk, visited("Dock nine"), name="a.m4a", owner=ids[ANN])
    ready_job(store, desk, visited("Dock nine"), name="b.m4a", owner=ids[ANN])
    one = ready_job(store, desk, visited("Tallow Mill"), name="c.m4a", owner=ids[ANN])
    bring(store, "Harrow,Dock nine,,Ann Field", "Harrow,Tallow Mill,,Ann Field", "Lowe,Tallow Mill,,Ann Field")
    with store.database.writing() as session:
        planned.match(session, DAY)
        rows = planned.of_day(session, DAY)
        assert [row.row.job_id for row in rows] == [None, None, None]
        assert one in {job.id for job in rows[1].candidates}


def test_a_reference_that_was_said_tells_two_at_one_site_apart(store: Store, desk: Desk, ids: dict[str, str]) -> None:
    said = visited("Dock nine").model_copy(update={"summary": "Work order PO-4471 for the dock."})
    other = ready_job(store, desk, visited("Dock nine"), name="a.m4a", owner=ids[ANN])
    named = ready_job(store, desk, said, name="b.m4a", owner=ids[ANN])
    bring(store, "Harrow,,po 4471,Ann Field", "Lowe,,12,Ann Field")
    found = matched(store)
    assert found["Harrow"] == (named, "the reference was said")
    assert found["Lowe"] == (None, "")
    assert other != named


# On the pages


def test_the_office_brings_a_list_settles_a_line_and_the_technician_takes_it_over(
    app: Starlette, store: Store, desk: Desk, ids: dict[str, str]
) -> None:
    job = ready_job(store, desk, visited("Dock nine"), name="a.m4a", owner=ids[ANN])
    other = ready_job(store, desk, visited("Mill"), name="b.m4a", owner=ids[BOB])
    office, ann = signed_in(app, OLA), signed_in(app, ANN)
    wrong = office.post("/plan", data={"day": DAY, "list": "customer\nA\n"})
    assert (wrong.status_code, "no site" in wrong.text, "customer\nA" in wrong.text) == (400, True, True)
    assert office.post("/plan", data={"day": "soon", "list": HEAD + "A,B,C,Ann Field"}).status_code == 400
    text = HEAD + 'Harrow Dairy,"<script>alert(1)</script>",=1+1,Ann Field\n'
    assert office.post("/plan", data={"day": DAY, "list": text}).status_code == 303
    page = office.get(f"/plan?day={DAY}").text
    assert "<script>alert" not in page
    number = re.search(r'action="/plan/(\d+)"', page)
    assert number
    assert job in page
    assert other not in page
    assert office.post(f"/plan/{number[1]}", data={"job": other}).status_code == 400
    assert office.post(f"/plan/{number[1]}", data={"job": job}).status_code == 303

    page = ann.get(f"/jobs/{job}").text
    assert "On the day’s list (Ola Desk)" in page
    assert "The site in the report is “Dock nine”" in page
    assert ann.post(f"/jobs/{job}/planned").json() == {"done": True}
    visit = desk.open(job, None).draft.visit
    assert visit.customer and visit.reference and visit.site
    assert (visit.customer.value, visit.customer.given) == ("Harrow Dairy", True)
    assert visit.reference.value == "=1+1"
    assert visit.site.value == "Dock nine"
    assert "data-planned" not in ann.get(f"/jobs/{job}").text
    assert desk.open(job, None).stored.edits[-1].who == ANN

    assert office.post(f"/plan/{number[1]}", data={}).status_code == 303
    assert "On the day’s list" not in ann.get(f"/jobs/{job}").text
    assert ann.post(f"/jobs/{job}/planned").json()["code"] == "not-planned"


def test_a_removed_job_leaves_its_line_open(app: Starlette, store: Store, desk: Desk, ids: dict[str, str]) -> None:
    from pipeline.store.forgetting import forget

    job = ready_job(store, desk, visited("Dock nine"), name="a.m4a", owner=ids[ANN])
    bring(store, "Harrow,Dock nine,,Ann Field")
    assert matched(store)["Dock nine"][0] == job
    forget(store, [job], "test")
    assert matched(store)["Dock nine"][0] is None
