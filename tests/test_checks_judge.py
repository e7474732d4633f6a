"""Plain readings from a table: what is judged, and one sentence with the line for whatever cannot be used."""

from __future__ import annotations

import csv
import io
import json
import sys
from pathlib import Path

import pytest

from extractors.facts import Reading
from pipeline.checks.registry import discover
from pipeline.draft import Check
from pipeline.errors import InputError
from pipeline.judge import checks_json, checks_table, judge, rule_text, rules_table

HEAD = "quantity,subject,role,value,low,high,unit,stage,place,rating,tolerance_minus,tolerance_plus,qualifiers\n"
TWICE = "quantity,subject,role,value,id\nvoltage,line,measured,1,r1\nvoltage,line,measured,2,r1\n"
GOOD = (
    HEAD
    + "capacitance,run capacitor,measured,31.8,,,uF,,,,,,\n"
    + "capacitance,run capacitor,rated,35,,,uF,,,,6,6,\n"
    + "pressure,suction pressure,measured,40,,,psig,as_left,,,,,approximate\n"
    + "temperature,suction line,measured,22,,,degF,as_left,,,,,\n"
)


def written(tmp_path: Path, text: str | bytes) -> Path:
    """A file of readings."""
    path = tmp_path / "readings.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_readings_are_judged_without_a_recording(tmp_path: Path) -> None:
    draft = judge(written(tmp_path, GOOD), refrigerant="r404a", equipment="walk-in cooler", altitude_ft=5000)
    verdicts = {one.rule: one.verdict.value for one in draft.checks}
    assert verdicts["capacitor-tolerance"] == "out_of_tolerance"
    assert verdicts["superheat"] == "in_tolerance"
    assert draft.equipment.refrigerant and draft.equipment.refrigerant.value == "R-404A"
    assert "out of tolerance" in checks_table(draft).lower()


def test_json_is_the_list_of_checks_of_the_contract(tmp_path: Path) -> None:
    listed = json.loads(checks_json(judge(written(tmp_path, GOOD), refrigerant="R-404A")))
    assert [Check.model_validate(one) for one in listed]
    assert {
        "id",
        "rule",
        "readings",
        "verdict",
        "value",
        "allowed_low",
        "allowed_high",
        "unit",
        "computed",
        "message",
        "basis",
    } <= set(listed[0])


def test_three_columns_are_enough_to_be_read_and_a_value_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="line 2: it needs a value"):
        judge(written(tmp_path, "quantity,subject,role\ntemperature,box,measured\n"))


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(GOOD.encode())))
    assert len(judge("-", refrigerant="R-404A").readings) == 4


@pytest.mark.parametrize("separator", [";", "\t"])
def test_other_separators_and_a_byte_order_mark(tmp_path: Path, separator: str) -> None:
    assert len(judge(written(tmp_path, b"\xef\xbb\xbf" + GOOD.replace(",", separator).encode())).readings) == 4
    assert len(judge(written(tmp_path, GOOD.encode("utf-16"))).readings) == 4


def test_the_programs_own_table_is_read_back(tmp_path: Path) -> None:
    from pipeline.render.exports import readings_csv

    draft = judge(written(tmp_path, GOOD), refrigerant="R-404A")
    again = judge(written(tmp_path, readings_csv(draft)), refrigerant="R-404A")
    assert again.checks == draft.checks


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no readings"),
        (HEAD, "holds no readings"),
        ("value,unit\n3,V\n", "line 1: the column quantity is missing"),
        (HEAD.replace("value", "vlaue") + "\n", "line 1: there is no column vlaue; did you mean value?"),
        (HEAD + "capacitance,run capacitor,measured,31.8,,,uF,,,,,,,,,,9\n", "line 2: there are 17 cells"),
        (
            HEAD + "capacity,run capacitor,measured,31.8,,,uF,,,,,,\n",
            "line 2: quantity cannot be capacity; did you mean capacitance?",
        ),
        (HEAD + "capacitance,,measured,31.8,,,uF,,,,,,\n", "line 2: subject is empty"),
        (HEAD + "capacitance,x,meassured,31.8,,,uF,,,,,,\n", "did you mean measured?"),
        (HEAD + 'capacitance,x,measured,"31,8",,,uF,,,,,,\n', "line 2: value is no number: 31,8"),
        (HEAD + "capacitance,x,measured,nan,,,uF,,,,,,\n", "no figure that can be measured"),
        (HEAD + "capacitance,x,measured,inf,,,uF,,,,,,\n", "no figure that can be measured"),
        (HEAD + "capacitance,x,measured,1,2,3,uF,,,,,,\n", "a value and a range"),
        (HEAD + "capacitance,x,measured,,9,3,uF,,,,,,\n", "low (9) lies above high (3)"),
        (HEAD + "capacitance,x,measured,1,,,mfd,,,,,,\n", "there is no unit mfd"),
        (HEAD + "capacitance,x,measured,1,,,V,,,,,,\n", "V is no unit of capacitance"),
        (HEAD + "capacitance,x,measured,1,,,uF,later,,,,,\n", "stage cannot be later"),
        (HEAD + "capacitance,x,measured,1,,,uF,,,RLA?,,,\n", "rating cannot be RLA?"),
        (HEAD + "capacitance,x,measured,1,,,uF,,,,,,roughly\n", "qualifiers cannot be roughly"),
        (HEAD + 'capacitance,"x,measured,1\n', "it is not valid CSV"),
        (b"\x00\x01\x02\x03", "is not a text file"),
        (HEAD.encode() + b"capacitance,caf\xe9,measured,1\n", "line 2: it is not UTF-8 text"),
        (HEAD + "capacitance," + "x" * 600 + ",measured,1\n", "line 2: a cell is longer"),
        (
            "quantity,subject,role,value,id\nvoltage,line,measured,1,r1\nvoltage,line,measured,2,r1\n",
            "line 3: the id r1 stands there a second time",
        ),
        ("quantity,subject,role,quantity\n", "line 1: a column stands there twice"),
    ],
)
def test_one_sentence_with_the_line_for_what_cannot_be_used(tmp_path: Path, text: str | bytes, said: str) -> None:
    with pytest.raises(InputError) as raised:
        judge(written(tmp_path, text))
    assert said in str(raised.value)
    assert "Traceback" not in str(raised.value) and "\n" not in str(raised.value)


def test_a_file_that_is_not_there_a_strange_refrigerant_and_a_strange_altitude(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"nothing\.csv cannot be read"):
        judge(tmp_path / "nothing.csv")
    good = written(tmp_path, GOOD)
    with pytest.raises(InputError, match="no refrigerant R-999"):
        judge(good, refrigerant="R-999")
    with pytest.raises(InputError, match="altitude"):
        judge(good, altitude_ft=90000)


def test_a_table_that_nothing_judges_says_so(tmp_path: Path) -> None:
    draft = judge(written(tmp_path, "quantity,subject,role,value,unit\nlength,door,measured,34,in\n"))
    assert "Nothing here can be judged" in checks_table(draft)
    assert checks_json(draft) == "[]\n"


def test_a_cell_that_a_spreadsheet_would_run_is_only_text(tmp_path: Path) -> None:
    row = "voltage,'=cmd|x,measured,120,,,V,,'-left,,,,\n"
    one: Reading = judge(written(tmp_path, HEAD + row)).readings[0]
    assert (one.subject, one.place) == ("=cmd|x", "-left")


def test_rules_are_listed_and_each_is_told_with_its_limits_and_example() -> None:
    table = rules_table()
    assert all(rule.name in table for rule in discover())
    assert "50 rules" in table
    for rule in discover():
        text = rule_text(rule.name)
        assert "Needs" in text and "Limits" in text and "Example" in text
    told = rule_text("capacitor-tolerance")
    assert "35 µF ±6 %" in told and "6 %" in told and "trade press" in told
    assert "from memory" in rule_text("supply-voltage-c84")
    with pytest.raises(InputError, match="did you mean superheat"):
        rule_text("superheet")


def test_two_hundred_readings_stay_one_table(tmp_path: Path) -> None:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["quantity", "subject", "role", "value", "unit", "place"])
    for number in range(200):
        writer.writerow(["temperature", "product", "measured", 38 + number % 7, "degF", f"case {number}"])
    assert len(judge(written(tmp_path, out.getvalue()), equipment="reach-in").checks) == 200
