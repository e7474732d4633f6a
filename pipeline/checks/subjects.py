"""Groups of subjects that rules ask for."""

from __future__ import annotations

SUPPLY = ("line", "L1-L2", "L2-L3", "L1-L3", "unit", "disconnect", "power cord")
LEG_TO_LEG = ("L1-L2", "L2-L3", "L1-L3")
MOTORS = (
    "compressor", "condenser fan motor", "evaporator fan motor", "blower motor", "inducer motor", "pump", "motor",
)  # fmt: skip
DRIVEN = (*MOTORS, "unit")
HEATERS = ("heating element", "defrost heater", "drain heater", "crankcase heater", "door heater")
SETTERS = ("thermostat", "controller", "box", "display", "control board")
