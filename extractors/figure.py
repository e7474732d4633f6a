"""One figure as said: its value or range, the units that its words may mean, and what changes it."""

from __future__ import annotations

from dataclasses import dataclass, field

from extractors.facts import Qualifier
from extractors.passage import Span


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure as said, not yet assigned to anything.

    `span` covers number and unit, `number` the number alone. `units` are the units that the spoken word
    may mean, empty when none was said. Values are in `units[0]` unless `also` says otherwise.
    """

    span: Span
    number: Span
    value: float | None
    low: float | None = None
    high: float | None = None
    units: tuple[str, ...] = ()
    form: str = "plain"
    also: tuple[float, ...] = ()
    pair: tuple[float, float] | None = None
    qualifiers: tuple[Qualifier, ...] = ()
    tolerance: tuple[float, float] | None = None
    """[minus, plus] as said."""
    tolerance_in_percent: bool = False
    misheard_unit: bool = False
    mended: bool = False
    """The number's words were understood otherwise than they were heard."""
    otherwise: tuple[float, ...] = ()
    """The numbers of another cut of these words and those beside them."""
    signed: bool = False
    changed_to: bool = False
    """The second of "from X to Y": the new value, the figure before it the old."""
    changed_from: bool = False
    over: str = ""
    """"first" or "second" of "215 over 50"."""
    notes: tuple[str, ...] = field(default=())

    @property
    def middle(self) -> float:
        """The value, or the middle of the range."""
        if self.value is not None:
            return self.value
        assert self.low is not None and self.high is not None
        return (self.low + self.high) / 2


def tolerance_pct(figure: Figure) -> tuple[float, float] | None:
    """A stated tolerance in percent of the figure, as [minus, plus]."""
    if figure.tolerance is None:
        return None
    if figure.tolerance_in_percent or not figure.value:
        return figure.tolerance
    minus, plus = (round(100 * part / abs(figure.value), 4) for part in figure.tolerance)
    return minus, plus
