"""What a person gave: kept apart from what was said, and a contradiction is a doubt."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import SHORT, run

from pipeline import given
from pipeline.day import Wish
from pipeline.errors import InputError

pytestmark = pytest.mark.filterwarnings("ignore")


def test_given_values_stand_in_the_draft_and_a_contradiction_is_a_doubt(tmp_path: Path) -> None:
    (tmp_path / "front.txt").write_text("Refrigerant is R-404A on the plate.\n" + SHORT)
    (tmp_path / "job.toml").write_text('customer = "Mill Lane"\nrefrigerant = "R-22"\n[front]\nsite = "back yard"\n')
    wish = Wish(given=given.read_pairs(["refrigerant=134a", "altitude_m=1000"]))
    draft = run(tmp_path / "front.txt", out=tmp_path / "out", wish=wish).jobs[0].draft

    assert draft.visit.customer is not None and draft.visit.customer.given
    assert draft.visit.site is not None and draft.visit.site.value == "back yard"
    refrigerant = draft.equipment.refrigerant
    assert refrigerant is not None
    assert (refrigerant.value, refrigerant.given) == ("R-134a", True)
    assert refrigerant.confirm == ("does not fit: R-404A was said",)
    assert draft.made_with.settings["given.altitude_m"] == "1000"


def test_a_bad_job_file_stops_its_own_folder_only(day: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "back.txt").write_text(SHORT)
    (other / "job.toml").write_text("customer = Mill Lane")
    done = run(other, day, out=tmp_path / "out")

    assert [fault.error.code for fault in done.faults] == ["bad-job-file"]
    assert [job.name for job in done.jobs] == ["front"]


def test_a_table_for_a_job_that_is_not_there_is_named(day: Path, tmp_path: Path) -> None:
    (day / "job.toml").write_text('[frnt]\ncustomer = "Mill Lane"\n')
    done = run(day, out=tmp_path / "out")

    assert ["[frnt]" in note for note in done.notes] == [True]


@pytest.mark.parametrize(("text", "feet"), [("5200", 5200.0), ("-40", -40.0)], ids=["a high town", "below the sea"])
def test_altitude_in_feet(text: str, feet: float) -> None:
    assert given.altitude_ft(given.read_pairs([f"altitude_ft={text}"]).values) == feet


def test_altitude_in_metres() -> None:
    # 1 ft is 0.3048 m exactly (international foot, NIST SP 811, appendix B.8).
    assert given.altitude_ft({"altitude_m": "304.8"}) == pytest.approx(1000.0)


@pytest.mark.parametrize("text", ["nan", "inf", "52000", "1e9", "high"])
def test_an_altitude_that_no_town_has_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="altitude_ft"):
        given.read_pairs([f"altitude_ft={text}"])
