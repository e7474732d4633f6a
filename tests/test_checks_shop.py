"""A shop's own limits: used where they fit, refused with file and line where they do not."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pipeline.checks.limits import all_limits
from pipeline.checks.overrides import limits_for
from pipeline.errors import InputError


def own(tmp_path: Path, text: str) -> Any:
    """The limits of all rules with those of a shop.toml."""
    path = tmp_path / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return limits_for(tomllib.loads(text)["limits"], path)


def test_a_number_is_in_the_rules_own_unit_and_a_table_in_any_that_measures_the_same(tmp_path: Path) -> None:
    limits = own(
        tmp_path,
        "[limits.capacitor-tolerance]\nlow = -5\nhigh = 5\n[limits.cold-holding-food.high]\nvalue = 4\nunit = 'degC'\n"
        "[limits.deep-vacuum]\nin_high = { value = 300, unit = 'micron' }\n",
    )
    assert limits["capacitor-tolerance"]["low"] == -5
    assert limits["cold-holding-food"]["high"] == pytest.approx(39.2)
    assert limits["deep-vacuum"].limit("in_high").from_shop
    assert not limits["deep-vacuum"].limit("high").from_shop
    assert limits["superheat"] is all_limits()["superheat"]


def test_the_marginal_fifth_follows_a_tolerance_that_the_shop_changed(tmp_path: Path) -> None:
    limits = own(tmp_path, "[limits.supply-voltage-nameplate]\nlow = -5\nhigh = 5\n")["supply-voltage-nameplate"]
    assert (limits["in_low"], limits["in_high"]) == (-4, 4)
    assert limits.limit("in_high").from_shop


def test_without_a_shop_the_files_own_limits_hold() -> None:
    assert limits_for({}) is all_limits()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[limits.capacitor-tolerence]\nlow = -5\n",
            "line 1: there is no rule capacitor-tolerence; did you mean capacitor-tolerance?",
        ),
        ("name = 'x'\n[limits.superheat]\n\nlowest = 3\n", "line 4: superheat has no limit lowest"),
        ("[limits.superheat]\nlow = 'three'\n", "line 2: low of superheat must be a number"),
        ("[limits.superheat]\nlow = true\n", "line 2: low of superheat must be a number"),
        ("[limits.superheat]\nlow = nan\n", "line 2: low of superheat must be a number"),
        (
            "[limits.superheat]\n# warm\nlow = { value = 3, unit = 'degF' }\n",
            "line 3: low of superheat is in delta_degF, not in degF",
        ),
        ("[limits.superheat]\nlow = { value = 3, unit = 'kelvins' }\n", "not in kelvins"),
        ("[limits.compression-ratio]\nhigh = { value = 9, unit = 'psig' }\n", "a plain number, not in psig"),
        ("[limits.superheat]\nin_low = 30\n", "line 2: in_low of superheat (30) is above in_high (25)"),
        ("[limits.superheat]\ntarget_high = 2\n", "line 2: target_in_high of superheat (5) is above target_high (2)"),
        (
            "[limits.evaporator-td]\nwalk_in_high = 10\n",
            "walk_in_in_high of evaporator-td (12) is above walk_in_high (10)",
        ),
        ("limits.superheat = 3\n", "must be a table of limits"),
    ],
)
def test_what_cannot_be_is_refused_with_file_and_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as raised:
        own(tmp_path, text)
    assert said in str(raised.value)
    assert str(raised.value).startswith("shop.toml")


def test_every_limit_of_every_rule_can_be_set_to_what_it_is(tmp_path: Path) -> None:
    lines = []
    for rule, limits in all_limits().items():
        lines.append(f"[limits.{rule}]")
        lines += [f"{limit.name} = {limit.value}" for limit in limits]
    limits = own(tmp_path, "\n".join(lines) + "\n")
    assert {rule: [one.value for one in table] for rule, table in limits.items()} == {
        rule: [one.value for one in table] for rule, table in all_limits().items()
    }
