"""Refrigerants by their designation: safety class, composition and global warming potential."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

DATA = Path(__file__).with_name("refrigerants.toml")
DESIGNATION = re.compile(r"\bR[-\s]?(\d{2,4}[A-Za-z]{0,2})\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Refrigerant:
    """One refrigerant: `safety_class` after ASHRAE 34, `gwp` on the AR4 scale, `fluid` for the table's maker."""

    name: str
    safety_class: str
    gwp: float
    fluid: str
    ozone_depleting: bool
    components: tuple[str, ...]
    also: tuple[str, ...]

    @property
    def flammable(self) -> bool:
        """Whether it is of a flammable class, mildly or more."""
        return self.safety_class != "A1"


@cache
def refrigerants() -> dict[str, Refrigerant]:
    """All that are known, by designation."""
    with DATA.open("rb") as file:
        table = tomllib.load(file)
    warming = table.pop("components")
    known = {}
    for name, row in table.items():
        parts = row.get("mass_pct", {name: 100.0})
        known[name] = Refrigerant(
            name=name,
            safety_class=row["class"],
            gwp=sum(share / 100 * warming[part] for part, share in parts.items()),
            fluid=row["fluid"],
            ozone_depleting=row.get("ozone_depleting", False),
            components=tuple(parts),
            also=tuple(row.get("also", ())),
        )
    return known


@lru_cache(maxsize=512)
def refrigerant(name: str | None) -> Refrigerant | None:
    """The refrigerant of a designation as people write it (`R404A`, `404a`, `propane`); None when unknown."""
    if not name:
        return None
    wanted = _plain(name)
    for known in refrigerants().values():
        if wanted in {_plain(known.name), _plain(known.name)[1:], *map(_plain, known.also)}:
            return known
    return None


def named_in(text: str) -> tuple[str, ...]:
    """Designations of known refrigerants that stand in a text, without repeats."""
    found = (refrigerant(f"R-{match}") for match in DESIGNATION.findall(text))
    return tuple(dict.fromkeys(known.name for known in found if known))


def _plain(name: str) -> str:
    """Lower case without spaces and dashes."""
    return re.sub(r"[\s\-]", "", name).casefold()
