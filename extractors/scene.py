"""What surrounds each figure of a talk: the words that point at subjects, quantities and roles, looked up once."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from extractors.asides import Asides
from extractors.beside import Aside
from extractors.facts import Quantity
from extractors.figure import Figure
from extractors.figures import find_figures
from extractors.lexicon import load_table
from extractors.mentions import Mention, Place
from extractors.passage import Passage, Span
from extractors.phrases import Hit, Phrases
from extractors.reader import Impression, Reader, reader
from extractors.talk import Talk


@dataclass(frozen=True, slots=True)
class QuantityRow:
    """A row of quantities.toml."""

    unit: str | None
    cues: tuple[str, ...]
    subjects: tuple[str, ...]
    low: float
    high: float


@cache
def quantity_rows() -> dict[Quantity, QuantityRow]:
    """All quantities with their default unit, cue words, default subject and bounds (in the default unit)."""
    return {
        Quantity(name): QuantityRow(
            row["unit"] or None, tuple(row["cues"]), tuple(row["subjects"]), row["bounds"][0], row["bounds"][1]
        )
        for name, row in load_table("quantities").items()
    }


@cache
def _cues() -> Phrases:
    rows: list[tuple[str, str]] = []
    for quantity, row in quantity_rows().items():
        rows += [(f"q:{quantity}", cue) for cue in row.cues]
    roles = load_table("roles")
    for role in ("rated", "measured", "setpoint", "expected"):
        rows += [(f"role:{role}", p) for p in roles[role]["say"]]
    rows += [(f"which:{name}", p) for name, says in roles["which"].items() for p in says]
    rows += [(f"of:{name}", p) for name, says in roles["of"].items() for p in says]
    connectors = load_table("connectors")
    rows += [("correction", p) for p in connectors["correction"]["say"]]
    rows += [("correction!", p) for p in connectors["correction"]["strong"]]
    rows += [("swap", p) for p in connectors["correction"]["swap"]]
    rows += [("second_look", p) for p in connectors["correction"]["second_look"]]
    rows += [("unsure", p) for p in connectors["unsure"]["say"]]
    return Phrases(rows)


class Scene:
    """Cues, mentions and figures of one talk, in order, with quick look-ups."""

    def __init__(self, talk: Talk, used: dict[Span, str], read: Reader | None = None) -> None:
        """`used`: spans that are part of a name or number of the machine; their figures are no readings.

        `read`: the model that gives the impressions; the shipped one where none is given.
        """
        self.talk = talk
        self._reader = read
        self.passage: Passage = talk.passage
        self.used = used
        taken = {i for span in used for i in range(span.start, span.end)}
        self.figures: list[Figure] = find_figures(self.passage, frozenset(taken) | talk.legs) if taken else talk.figures
        self.asides: dict[int, Aside] = {}
        judge = Asides(talk)
        self._used_tokens = {i for span in used for i in range(span.start, span.end)}
        for index, figure in enumerate(self.figures):
            aside = judge.judge(figure)
            if aside is not None:
                self.asides[index] = aside
        hits = _cues().find(self.passage, overlapping=True)
        self._hits: dict[str, list[Hit]] = {}
        for hit in hits:
            self._hits.setdefault(hit.label, []).append(hit)
        self._hit_starts = {label: [h.span.start for h in found] for label, found in self._hits.items()}
        self.mentions: list[Mention] = sorted([*talk.mentions, *talk.nouns], key=lambda m: m.span)
        self._mention_starts = [m.span.start for m in self.mentions]
        self.places: list[Place] = talk.places
        self._figure_starts = [f.span.start for f in self.figures]

    def is_used(self, figure: Figure) -> bool:
        """Whether a name or number of the machine has the figure's words."""
        return any(i in self._used_tokens for i in range(figure.number.start, figure.number.end))

    def hits(self, label: str, start: int, end: int) -> list[Hit]:
        """Cues of one label that begin in [start, end)."""
        starts = self._hit_starts.get(label, [])
        return self._hits.get(label, [])[bisect_left(starts, start) : bisect_left(starts, end)]

    def mentions_before(self, at: int, many: int) -> list[Mention]:
        """The last `many` mentions that begin before a token, nearest first."""
        index = bisect_left(self._mention_starts, at)
        return self.mentions[max(0, index - many) : index][::-1]

    def mentions_after(self, at: int, until: int) -> list[Mention]:
        """Mentions that begin in [at, until)."""
        return self.mentions[bisect_left(self._mention_starts, at) : bisect_left(self._mention_starts, until)]

    def figures_between(self, start: int, end: int) -> int:
        """How many figures begin in [start, end)."""
        return bisect_left(self._figure_starts, end) - bisect_left(self._figure_starts, start)

    @cached_property
    def impressions(self) -> list[Impression]:
        """What the model that read annotated talks makes of each figure."""
        return (self._reader or reader()).read(self.passage, self.figures, self.mentions)

    @cached_property
    def metric(self) -> bool:
        """Whether the speaker counts in Celsius: more figures with metric units than with customary ones."""
        metric = sum(1 for f in self.figures if f.units and set(f.units) <= _METRIC)
        customary = sum(1 for f in self.figures if f.units and set(f.units) & _CUSTOMARY and len(f.units) < 3)
        words = self.passage.norms
        metric += 2 * sum(n in ("celsius", "centigrade") for n in words)
        customary += 3 * sum(n == "fahrenheit" for n in words)
        return metric > customary

    @cached_property
    def gas_heat(self) -> bool:
        """Whether the job is about burning gas: pressures without a unit are then inches of water."""
        return sum(n in _GAS_WORDS for n in self.passage.norms) >= 3

    def clause(self, figure: Figure) -> Span:
        """The clause of a figure; figures side by side with only commas between share their clauses' words."""
        return self.passage.clause_span(figure.number.start)

    def sentence(self, figure: Figure) -> Span:
        """The sentence of a figure."""
        return self.passage.sentence_span(figure.number.start)

    def same_sentence(self, figure: Figure, other: Figure | None) -> bool:
        """Whether two figures stand in one sentence; False where there is no other."""
        if other is None:
            return False
        tokens = self.passage.tokens
        return tokens[other.span.start].sentence == tokens[figure.span.start].sentence

    def lead(self, figure: Figure) -> tuple[int, int]:
        """Tokens before the figure up to the figure before it in the sentence, the stretch that leads into it."""
        index = bisect_right(self._figure_starts, figure.span.start) - 1
        start = self.sentence(figure).start
        if index > 0:
            start = max(start, self.figures[index - 1].span.end)
        return start, figure.span.start

    def trail(self, figure: Figure) -> tuple[int, int]:
        """Tokens after the figure up to the next one in the sentence."""
        index = bisect_right(self._figure_starts, figure.span.start)
        end = self.sentence(figure).end
        if index < len(self.figures):
            end = min(end, self.figures[index].span.start)
        return figure.span.end, max(end, figure.span.end)


_METRIC = frozenset(("degC", "delta_degC", "kPa", "bar", "mbar", "Pa", "kg", "L", "L/s"))
_CUSTOMARY = frozenset(("psig", "oz", "lb", "inWC", "inHg", "gal", "gpm", "cfm", "BTU/h", "ft", "in"))


_GAS_WORDS = frozenset(
    [
        "burner",
        "burners",
        "furnace",
        "inducer",
        "draft",
        "flue",
        "manifold",
        "igniter",
        "ignitor",
        "flame",
        "pilot",
        "boiler",
    ]
)


def labels() -> Any:
    """All labels of cues, for tests."""
    return _cues()
