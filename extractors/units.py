"""The closed list of units: quantity, dimension and factor of each, read from lexicon/units.toml."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from extractors.facts import Quantity
from extractors.lexicon import load_table


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit. A value in it becomes one of its dimension by `(value + offset) * factor`."""

    name: str
    quantity: Quantity
    dimension: str
    factor: float
    offset: float
    say: tuple[str, ...]
    misheard: tuple[str, ...]
    glued: tuple[str, ...]


@cache
def units() -> dict[str, Unit]:
    """All units by name."""
    return {
        name: Unit(
            name=name,
            quantity=Quantity(row["quantity"]),
            dimension=row["dimension"],
            factor=row["factor"],
            offset=row.get("offset", 0.0),
            say=tuple(row["say"]),
            misheard=tuple(row.get("misheard", ())),
            glued=tuple(row.get("glued", ())),
        )
        for name, row in load_table("units").items()
    }


def convert(value: float, unit: str, to: str) -> float:
    """A value in another unit of the same dimension. Raises ValueError across dimensions."""
    source, target = units()[unit], units()[to]
    if source.dimension != target.dimension:
        raise ValueError(f"{unit} and {to} measure different things")
    return (value + source.offset) * source.factor / target.factor - target.offset


def quantities_of(unit_names: tuple[str, ...]) -> tuple[Quantity, ...]:
    """The quantities that a group of units may measure, without repeats."""
    return tuple(dict.fromkeys(units()[name].quantity for name in unit_names))
