"""What the rules about food share: which temperatures are of food or of the air around it."""

from __future__ import annotations

from extractors.facts import Qualifier, Quantity, Reading
from extractors.units import convert
from pipeline.checks.rule import Need

COLDER_THAN_DEGF = 100.0
"""What is warmer is hot food, rinse water or an oven and no matter of cold holding."""


NO_COLD_FOOD = frozenset({
    "air_conditioning", "heating", "gas_heat", "hot_kitchen", "dish_machine", "ice_machine", "not_food", "rapid_chill",
})  # fmt: skip
"""Kinds of machine that hold no cold food."""
EXTREMES = frozenset({Qualifier.PEAK})
PRODUCT = Need("product", Quantity.TEMPERATURE, "degF", ("product",))
BOX = Need("box", Quantity.TEMPERATURE, "degF", ("box",), without=EXTREMES)


def cold(reading: Reading) -> bool:
    """Whether a temperature is low enough to be of something that is meant to be cold."""
    values = [v for v in (reading.value, reading.low) if v is not None]
    if not values or reading.unit not in ("degF", "degC"):
        return False
    return convert(values[0], reading.unit, "degF") < COLDER_THAN_DEGF
