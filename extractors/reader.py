"""A small language model that has read annotated talks: what each figure probably is, told by the words around it.

Its word is one sign among others (`reader:...` in lexicon/weights.toml): the vocabulary and the rest of the signs can
overrule it. `tests/benchmarks/learn_reader.py` makes its files from annotated narrations.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from extractors.figure import Figure
from extractors.mentions import Mention
from extractors.passage import Passage

if TYPE_CHECKING:
    import numpy as np

    Array = np.ndarray[Any, np.dtype[Any]]

FOLDER = Path(__file__).parent / "reader_model"
WINDOW, BEFORE, AFTER = 500, 200, 50
"""Pieces of words that are read at once, and how many of them a figure wants before and after it."""
EDGES = (1, 5, 12, 26, 45, 90, 105, 130, 195, 250, 480, 700)
"""Where the sizes of figures are parted: between them lie the usual supplies, temperatures and pressures."""
FAR = 12
"""Steps of distance between a figure and a mention, each about one and a half times the one before."""


@dataclass(frozen=True, slots=True)
class Impression:
    """What a figure probably is; shares from 0 to 1, each table adding up to 1."""

    is_reading: float
    quantity: Mapping[str, float]
    subject: Mapping[str, float]
    role: Mapping[str, float]
    stage: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Window:
    """Pieces [start, end) of a talk and the figures, by their number, that are told from them."""

    start: int
    end: int
    figures: tuple[int, ...]


WORTH_A_LOOK = 0.05
"""From this share on, what nobody named is weighed too."""
SHARES = ((0.001, "<0.1%"), (0.01, "<1%"), (0.05, "<5%"), (0.2, "<20%"), (0.5, "<50%"), (0.8, "<80%"), (0.95, "<95%"))


def share_word(share: float) -> str:
    """A share as a coarse word for a sign."""
    return next((word for limit, word in SHARES if share < limit), ">95%")


class Pieces:
    """A talk cut into the pieces that the model knows; `first[i]` is the first piece of token i."""

    def __init__(self, passage: Passage, tokenizer: Any) -> None:
        known: dict[str, list[int]] = {}
        self.ids: list[int] = []
        self.first: list[int] = []
        for token in passage.tokens:
            word = token.text.lower()
            if word not in known:
                known[word] = tokenizer.encode(word, add_special_tokens=False).ids or [tokenizer.token_to_id("[UNK]")]
            self.first.append(len(self.ids))
            self.ids += known[word]
        self.first.append(len(self.ids))

    def span(self, start: int, end: int, window: Window) -> tuple[int, int]:
        """Where tokens [start, end) stand in a window, behind its first mark."""
        low = self.first[start] - window.start + 1
        return low, max(low + 1, self.first[end] - window.start + 1)


def windows(pieces: Pieces, figures: Sequence[Figure]) -> list[Window]:
    """The windows from which all figures are told, in order."""
    size, done, found = len(pieces.ids), 0, []
    while done < len(figures):
        at = pieces.first[figures[done].number.start]
        start = max(0, min(at - BEFORE, size - WINDOW))
        end = min(size, start + WINDOW)
        taken = [done]
        while done + len(taken) < len(figures) and (
            end == size or pieces.first[figures[done + len(taken)].number.start] < end - AFTER
        ):
            taken.append(done + len(taken))
        found.append(Window(start, end, tuple(taken)))
        done += len(taken)
    return found


def shape(figure: Figure, known_units: Sequence[str], place: float) -> list[float]:
    """A figure as numbers: its size, form and unit, and how far into the talk it stands (0 to 1)."""
    value = abs(figure.middle)
    numbers = [math.log10(value + 0.01) / 3, float(value == int(value)), float(figure.middle < 0)]
    numbers += [float(value < 1), float(value > 100), float(figure.form == "range")]
    numbers += [float(low <= value < high) for low, high in zip((0, *EDGES), (*EDGES, math.inf), strict=True)]
    numbers += [float(unit in figure.units) for unit in known_units]
    return [*numbers, float(not figure.units), place]


def steps(figure: tuple[int, int], mention: tuple[int, int]) -> int:
    """How far a mention is from a figure, in steps; mentions behind it count from FAR."""
    if mention[1] <= figure[0]:
        return min(FAR - 1, int(math.log2(figure[0] - mention[1] + 1) * 1.6))
    return FAR + min(FAR - 1, int(math.log2(max(0, mention[0] - figure[1]) + 1) * 1.6))


def named(pieces: Pieces, window: Window, mentions: Sequence[Mention]) -> list[tuple[tuple[int, int], str]]:
    """The mentions inside a window, each with all that it may mean."""
    found = []
    for mention in mentions:
        if pieces.first[mention.span.start] < window.start or pieces.first[mention.span.end] > window.end:
            continue
        where = pieces.span(mention.span.start, mention.span.end, window)
        names = (mention.subject, *(o for o in mention.options if mention.open))
        found += [(where, name) for name in dict.fromkeys(names)]
    return found


class Reader:
    """The model's files, loaded once."""

    def __init__(self, folder: Path = FOLDER) -> None:
        import numpy as np
        from onnxruntime import InferenceSession, SessionOptions
        from tokenizers import Tokenizer

        options = SessionOptions()
        options.intra_op_num_threads = 1
        self.encoder = InferenceSession(str(folder / "encoder.onnx"), options, providers=["CPUExecutionProvider"])
        self.tokenizer = Tokenizer.from_file(str(folder / "tokenizer.json"))
        self.marks = tuple(self.tokenizer.encode("").ids)
        self.names: dict[str, list[str]] = json.loads((folder / "names.json").read_text())
        with np.load(folder / "heads.npz") as heads:
            self.heads = {name: heads[name].astype(np.float32) for name in heads.files}
        self.places = {name: i for i, name in enumerate(self.names["subjects"])}

    def read(self, passage: Passage, figures: Sequence[Figure], mentions: Sequence[Mention]) -> list[Impression]:
        """One impression for each figure, in their order."""
        pieces = Pieces(passage, self.tokenizer)
        mentions = [m for m in mentions if m.subject in self.places]
        found: list[Impression] = []
        for window in windows(pieces, figures):
            found += self._read(pieces, window, [figures[i] for i in window.figures], mentions)
        return found

    def _read(
        self, pieces: Pieces, window: Window, figures: Sequence[Figure], mentions: Sequence[Mention]
    ) -> list[Impression]:
        import numpy as np

        ids = np.zeros((1, WINDOW + 2), dtype=np.int64)
        said = [self.marks[0], *pieces.ids[window.start : window.end], self.marks[1]]
        ids[0, : len(said)] = said
        mask = (np.arange(WINDOW + 2) < len(said)).astype(np.int64)[None]
        hidden = self.encoder.run(None, {"ids": ids, "mask": mask})[0][0, : len(said)]
        spots = [pieces.span(f.number.start, f.number.end, window) for f in figures]
        wide = [pieces.span(f.span.start, f.span.end, window) for f in figures]
        after = [(min(high, len(said) - 1), min(high, len(said) - 1) + 1) for _, high in wide]
        shapes = [shape(f, self.names["units"], pieces.first[f.number.start] / len(pieces.ids)) for f in figures]
        seen = np.concatenate(
            [*(_means(hidden, spans) for spans in (spots, wide, after)), np.array(shapes, np.float32)], axis=1
        )
        figure = _gelu(self._through("fig", seen))
        quantity = _shares(self._through("quantity", figure))
        subject = self._subjects(figure, quantity, hidden, wide, named(pieces, window, mentions))
        is_reading = 1 / (1 + np.exp(-self._through("reading", figure)[:, 0]))
        role, stage = _shares(self._through("role", figure)), _shares(self._through("stage", figure))
        tables = {"quantities": quantity, "subjects": subject, "roles": role, "stages": stage}
        told = {
            kind: [dict(zip(self.names[kind], map(float, row), strict=True)) for row in table]
            for kind, table in tables.items()
        }
        return [
            Impression(float(is_reading[i]), *(told[kind][i] for kind in ("quantities", "subjects", "roles", "stages")))
            for i in range(len(figures))
        ]

    def _through(self, layer: str, values: Array) -> Array:
        return values @ self.heads[f"{layer}.weight"].T + self.heads[f"{layer}.bias"]  # type: ignore[no-any-return]

    def _subjects(
        self,
        figure: Array,
        quantity: Array,
        hidden: Array,
        spots: Sequence[tuple[int, int]],
        mentions: Sequence[tuple[tuple[int, int], str]],
    ) -> Array:
        """Shares of all subjects: by meaning, by quantity, and by the mentions that a figure points to."""
        import numpy as np

        scores = self._through("meant", figure) @ self.heads["subjects"].T / 8 + self.heads["subject_bias"]
        scores = scores + quantity @ self.heads["of"]
        if mentions:
            points = self._through("from", figure) @ self._through("to", _means(hidden, [w for w, _ in mentions])).T / 8
            apart = np.array([[steps(spot, where) for where, _ in mentions] for spot in spots])
            points = points + self.heads["distance"][apart]
            named_by = np.zeros((len(mentions), len(self.places)), np.float32)
            for row, (_, name) in enumerate(mentions):
                if name in self.places:
                    named_by[row, self.places[name]] = 1
            top = points.max(axis=1, keepdims=True)
            scores = scores + np.log(np.exp(points - top) @ named_by + np.exp(-top)) + top
        return _shares(scores)


def _means(hidden: Array, spans: Sequence[tuple[int, int]]) -> Array:
    """The mean of the rows of each span."""
    import numpy as np

    return np.stack([hidden[low : min(high, len(hidden))].mean(axis=0) for low, high in spans])


def _shares(scores: Array) -> Array:
    import numpy as np

    grown = np.exp(scores - scores.max(axis=1, keepdims=True))
    return grown / grown.sum(axis=1, keepdims=True)  # type: ignore[no-any-return]


def _gelu(values: Array) -> Array:
    """The smooth step of Hendrycks and Gimpel (arXiv 1606.08415), in its form with tanh."""
    import numpy as np

    return values * (1 + np.tanh(math.sqrt(2 / math.pi) * (values + 0.044715 * values**3))) / 2  # type: ignore[no-any-return]


@cache
def reader() -> Reader:
    """The shipped model."""
    return Reader()
