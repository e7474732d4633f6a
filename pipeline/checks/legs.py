"""What the rules about three legs share: sets of three, unbalance, and the load that a motor may carry under it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from extractors.facts import Reading
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import leg_sets
from pipeline.checks.rule import Case, Missing


def three_legs(job: Job, limits: RuleLimits, measured: Sequence[Reading], key: str, third: str) -> Iterator[Case]:
    """A case for each set of three legs; two of three make one that asks for the third, one leg makes none."""
    for found in leg_sets(job, measured):
        legs = tuple(found.values())
        if len(legs) == 3:
            yield Case(job, limits, {key: legs[0]}, {"legs": legs})
        elif len(legs) == 2:
            yield Case(job, limits, {key: legs[0]}, {"legs": legs}, missing=Missing(third, reference=False))


def unbalance_pct(values: Sequence[float]) -> tuple[float, float] | None:
    """(unbalance in percent, average): the largest deviation from the average; None when the average is zero.

    Source: NEMA MG 1, definition of voltage unbalance.
    """
    average = sum(values) / len(values)
    if average <= 0:
        return None
    return max(abs(value - average) for value in values) / average * 100, average


def derating(job: Job, unbalance: float) -> float:
    """The share of its rating that a motor may carry at an unbalance in percent; 1 up to 1 %, level beyond 5 %.

    Source: NEMA MG 1, derating curve, read off to about 0.02 (from memory).
    """
    limits = job.limits["unbalance-motor-derating"]
    points = [(float(percent), limits[f"factor_{percent}"]) for percent in range(1, 6)]
    if unbalance <= points[0][0]:
        return points[0][1]
    for (left, high), (right, low) in pairwise(points):
        if unbalance <= right:
            return high + (unbalance - left) / (right - left) * (low - high)
    return points[-1][1]
