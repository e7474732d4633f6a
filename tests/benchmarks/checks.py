"""How long the whole stage takes on a job of 200 readings: `python tests/benchmarks/checks.py`."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from checking import job

from pipeline.checks import check
from pipeline.draft import Draft

ROUNDS = 20


def large() -> Draft:
    """A job of 200 readings such as a long day at one rack gives."""
    rows = []
    for number in range(1, 11):
        place, at = f"place={number}", 60 * number
        rows += [
            f"rated current | compressor | 12 A | {place} rating=RLA at={at}",
            f"measured current | compressor | {10 + number / 10} A | {place} stage=as_found at={at + 1}",
            f"measured pressure | suction pressure | {30 + number} psig | {place} stage=as_found at={at + 2}",
            f"measured temperature | suction line | {30 + number} degF | {place} stage=as_found at={at + 3}",
            f"measured pressure | head pressure | {230 + number} psig | {place} stage=as_found at={at + 4}",
            f"measured temperature | liquid line | {88 + number} degF | {place} stage=as_found at={at + 5}",
            f"measured temperature | discharge line | {180 + number} degF | {place} at={at + 6}",
            f"measured voltage | L1-L2 | {206 + number % 3} V | {place} at={at + 7}",
            f"measured voltage | L2-L3 | {207 + number % 3} V | {place} at={at + 8}",
            f"measured voltage | L1-L3 | {205 + number % 3} V | {place} at={at + 9}",
            f"measured capacitance | run capacitor | {34 - number / 10} uF | {place} at={at + 10}",
            f"rated capacitance | run capacitor | 35 uF | {place} tol=6,6 at={at + 11}",
            f"measured temperature | box | {38 + number} degF | {place} stage=as_left at={at + 12}",
            f"setpoint temperature | controller | 36 degF | {place} at={at + 13}",
            f"measured temperature | product | {39 + number / 2} degF | {place} at={at + 14}",
            f"measured resistance | compressor | {400 + number} Mohm | {place} at={at + 15}",
            f"measured current | condenser fan motor | {1.1 + number / 50} A | {place} at={at + 16}",
            f"rated current | condenser fan motor | 1.3 A | {place} at={at + 17}",
            f"measured temperature | ambient | {80 + number} degF | at={at + 18}",
            f"rated voltage | unit | 208 V | {place} at={at + 19}",
        ]
    return job(*rows, machine="parallel rack", refrigerant="R-404A")


def main() -> None:
    """Prints the best and the middle of some rounds in ms."""
    draft = large()
    check(draft)
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        result = check(draft)
        times.append((time.perf_counter() - begun) * 1000)
    times.sort()
    print(f"{len(draft.readings)} readings, {len(result.checks)} checks: best {times[0]:.1f} ms, "
          f"middle {times[len(times) // 2]:.1f} ms")  # fmt: skip


if __name__ == "__main__":
    main()
