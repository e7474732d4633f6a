"""The limits that rules judge by: read from limits.toml, overridden by a shop's own settings."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pipeline.errors import AuthoringError

DATA = Path(__file__).with_name("limits.toml")
MARGINAL_FROM = 0.8
"""M20: inside its tolerance but in the last fifth of it, a reading is marginal. A convention of ours, no source."""

BasisKind = Literal["nameplate", "standard", "common_practice", "shop_setting"]


@dataclass(frozen=True, slots=True)
class Source:
    """A document that a limit comes from."""

    key: str
    title: str
    kind: str


@dataclass(frozen=True, slots=True)
class Limit:
    """One figure that a rule judges by. `seen`: the source was seen; otherwise the figure is from memory."""

    name: str
    value: float
    unit: str | None
    basis: BasisKind
    source: Source
    seen: bool

    @property
    def from_shop(self) -> bool:
        """Whether the shop set it."""
        return self.basis == "shop_setting"


@dataclass(frozen=True)
class RuleLimits:
    """The limits of one rule, with its title, what it computes and a worked example."""

    rule: str
    title: str
    about: str
    example: str
    limits: Mapping[str, Limit]

    def __getitem__(self, name: str) -> float:
        """The value of a limit in its own unit. Raises KeyError."""
        return self.limits[name].value

    def limit(self, name: str) -> Limit:
        """One limit. Raises KeyError."""
        return self.limits[name]

    def band(self, prefix: str = "") -> Band:
        """The band of the limits `low`, `in_low`, `in_high`, `high`; with a prefix, those of `PREFIX_low` and so on.

        An end without an inner step goes straight from in to out; an end without a limit is open.
        """
        start = f"{prefix}_" if prefix else ""
        low, in_low, in_high, high = (self.limits.get(f"{start}{end}") for end in ("low", "in_low", "in_high", "high"))
        return Band(
            low=low.value if low else None,
            in_low=in_low.value if in_low else None,
            in_high=in_high.value if in_high else None,
            high=high.value if high else None,
            limits=tuple(limit for limit in (low, in_low, in_high, high) if limit),
        )

    def __iter__(self) -> Iterator[Limit]:
        """All limits in the order of the file."""
        return iter(self.limits.values())


@dataclass(frozen=True, slots=True)
class Band:
    """Where a figure is in tolerance (`in_low` to `in_high`), marginal (beyond, up to `low` and `high`) or out.

    None is an open end. An end that has a limit and no inner step is in tolerance up to the limit.
    """

    low: float | None = None
    in_low: float | None = None
    in_high: float | None = None
    high: float | None = None
    limits: tuple[Limit, ...] = ()

    @classmethod
    def m20(cls, low: float | None, high: float | None, *limits: Limit) -> Band:
        """A tolerance around zero whose last fifth is marginal."""
        return cls(
            low=low,
            in_low=None if low is None else low * MARGINAL_FROM,
            in_high=None if high is None else high * MARGINAL_FROM,
            high=high,
            limits=limits,
        )

    def scaled(self, by: float) -> Band:
        """The band with every end multiplied, for limits that are given for one nominal value."""
        return replace(
            self,
            low=None if self.low is None else self.low * by,
            in_low=None if self.in_low is None else self.in_low * by,
            in_high=None if self.in_high is None else self.in_high * by,
            high=None if self.high is None else self.high * by,
        )


@cache
def _file() -> dict[str, Any]:
    with DATA.open("rb") as file:
        return tomllib.load(file)


@cache
def all_limits() -> dict[str, RuleLimits]:
    """The limits of every rule as they stand in limits.toml. Raises AuthoringError naming the entry."""
    table = dict(_file())
    sources = {key: Source(key, row["title"], row["kind"]) for key, row in table.pop("sources").items()}
    return {rule: _rule_limits(rule, row, sources) for rule, row in table.items()}


def _rule_limits(rule: str, row: Mapping[str, Any], sources: Mapping[str, Source]) -> RuleLimits:
    """One rule's table, checked."""
    limits = {}
    for name, entry in row.get("limits", {}).items():
        try:
            limits[name] = Limit(
                name=name,
                value=float(entry["value"]),
                unit=entry.get("unit"),
                basis=entry["basis"],
                source=sources[entry["source"]],
                seen=entry["seen"],
            )
        except KeyError as fault:
            raise AuthoringError(
                "limit-wrong", f"limits.toml, {rule}, {name}: {fault} is missing or unknown.", "Add it."
            ) from fault
    return RuleLimits(rule, row["title"], row["about"], row["example"], limits)


def with_overrides(rule_limits: RuleLimits, overrides: Mapping[str, float]) -> RuleLimits:
    """The limits with a shop's own values, in the units of the file, in place of the defaults."""
    shop = Source("shop", "shop.toml", "shop setting")
    changed = dict(rule_limits.limits)
    for name, value in overrides.items():
        changed[name] = replace(changed[name], value=value, basis="shop_setting", source=shop, seen=True)
    return replace(rule_limits, limits=changed)
