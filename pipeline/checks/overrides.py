"""A shop's own limits: checked against the rules, with file and line where they are wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from extractors.units import convert, units
from pipeline.checks.limits import MARGINAL_FROM, RuleLimits, all_limits, with_overrides
from pipeline.errors import InputError

ENDS = ("low", "in_low", "in_high", "high")


@dataclass(frozen=True)
class Place:
    """The file that a shop's limits come from, to name the line of a fault; no file for settings made by a program."""

    path: Path | None = None

    def of(self, rule: str, name: str = "") -> str:
        """`shop.toml, line 12` for a rule or one of its limits."""
        label = self.path.name if self.path else "shop.toml"
        line = self._line(rule, name)
        return f"{label}, line {line}" if line else label

    def _line(self, rule: str, name: str) -> int | None:
        try:
            text = self.path.read_text(encoding="utf-8") if self.path else ""
        except (OSError, UnicodeDecodeError):
            return None
        header = None
        for number, line in enumerate(text.splitlines(), start=1):
            bare = line.split("#")[0].replace('"', "").replace(" ", "")
            if bare.startswith("["):
                header = number if bare in (f"[limits.{rule}]", f"[limits.{rule}.{name}]") else None
                if header and (not name or bare.endswith(f".{name}]")):
                    return number
            elif (header and bare.startswith(f"{name}=")) or bare.startswith(f"limits.{rule}.{name}="):
                return number
        return None


def limits_for(overrides: Mapping[str, Mapping[str, Any]], path: Path | None = None) -> Mapping[str, RuleLimits]:
    """The limits of all rules with a shop's own in place. Raises InputError with file and line for what is wrong.

    A limit is a number in the rule's unit, or a table `{ value = 5, unit = "degC" }` in one that measures the same.
    """
    if not overrides:
        return all_limits()
    place = Place(path)
    return {
        rule: _one(rule_limits, overrides[rule], place) if rule in overrides else rule_limits
        for rule, rule_limits in _known(overrides, place).items()
    }


def _known(overrides: Mapping[str, Mapping[str, Any]], place: Place) -> Mapping[str, RuleLimits]:
    """All limits, when every overridden rule is one of them."""
    for rule, table in overrides.items():
        if rule not in all_limits():
            raise InputError(
                "unknown-rule",
                f"{place.of(rule)}: there is no rule {rule}{_nearest(rule, tuple(all_limits()))}.",
                "`jobtape rules` lists them.",
            )
        if not isinstance(table, Mapping):
            raise InputError("limit-wrong", f"{place.of(rule)}: limits.{rule} must be a table of limits.", "")
    return all_limits()


def _one(rule_limits: RuleLimits, table: Mapping[str, Any], place: Place) -> RuleLimits:
    """One rule's limits with the shop's."""
    rule = rule_limits.rule
    values = {}
    for name, given in table.items():
        if name not in rule_limits.limits:
            has = ", ".join(rule_limits.limits) or "none"
            raise InputError("unknown-limit", f"{place.of(rule, name)}: {rule} has no limit {name}.", f"It has {has}.")
        values[name] = _value(rule_limits, name, given, place)
    for name, value in tuple(values.items()):
        inner = f"{name[: -len(name.split('_')[-1])]}in_{name.split('_')[-1]}"
        if inner in rule_limits.limits and inner not in values and rule_limits.limit(inner).source.key == "m20":
            values[inner] = value * MARGINAL_FROM
    changed = with_overrides(rule_limits, values)
    _ordered(changed, values, place)
    return changed


def _value(rule_limits: RuleLimits, name: str, given: object, place: Place) -> float:
    """A limit in the rule's own unit."""
    rule, unit = rule_limits.rule, rule_limits.limit(name).unit
    value, said_unit = given, unit
    if isinstance(given, Mapping):
        value, said_unit = given.get("value"), given.get("unit", unit)
    if isinstance(value, bool) or not isinstance(value, int | float) or value != value or abs(value) > 1e12:
        raise InputError("limit-wrong", f"{place.of(rule, name)}: {name} of {rule} must be a number.", "")
    if said_unit == unit:
        return float(value)
    try:
        if unit is None or said_unit not in units():
            raise ValueError
        return convert(float(value), str(said_unit), unit)
    except (ValueError, KeyError):
        wanted = f"in {unit}" if unit else "a plain number"
        raise InputError(
            "limit-unit", f"{place.of(rule, name)}: {name} of {rule} is {wanted}, not in {said_unit}.", ""
        ) from None


def _ordered(changed: RuleLimits, values: Mapping[str, float], place: Place) -> None:
    """Refuses ends that cross, in every band that the shop touched."""
    for name in values:
        prefixes = [name.removesuffix(end) for end in ENDS if name.endswith(end)]
        if not prefixes:
            continue
        # `walk_in_high` is the high end of walk_in and no inner end of walk: the prefix with most ends is the band's.
        prefix = max(prefixes, key=lambda start: sum(f"{start}{end}" in changed.limits for end in ENDS))
        names = [f"{prefix}{end}" for end in ENDS if f"{prefix}{end}" in changed.limits]
        for lower, upper in pairwise(names):
            low, high = changed[lower], changed[upper]
            if low > high:
                raise InputError(
                    "limits-crossed",
                    f"{place.of(changed.rule, name)}: {lower} of {changed.rule} ({low:g}) is above {upper} ({high:g}).",
                    "Set both.",
                )


@cache
def _nearest(word: str, known: tuple[str, ...]) -> str:
    """`; did you mean X?` for a name that is nearly right."""
    from difflib import get_close_matches

    close = get_close_matches(word, known, n=1)
    return f"; did you mean {close[0]}?" if close else ""
