"""Every stretch with a figure heard again: by another model, in another manner of writing, and word against word."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from extractors.facts import HeardDoubt
from pipeline.compare import Item, agree, agreed, items, opposite
from pipeline.doubt import Weights, doubt_table, ends_in_teen_or_ty, ends_in_ty, reasons

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from pipeline.speech_models import SpeechModel
    from pipeline.whisper import HeardPassage, Stretch, Whisper

    Samples = NDArray[np.float32]

SINGLE = frozenset({"one", "two", "three", "four", "five", "six", "seven", "eight", "nine"})
MARKS = " .,;:?!\"'"
SMALL_SHARE = 0.02
"""A word that sounds alike and gets less than this of the two shares counts nothing."""
TY_IN_DIGITS = re.compile(r"(\d*)([3-9])0")
TEEN_IN_DIGITS = re.compile(r"(\d*)1([3-9])")


@dataclass(frozen=True)
class Sign:
    """A figure of passage `passage` with all that speaks for or against it."""

    passage: int
    item: Item
    signs: dict[str, float]
    others: tuple[str, ...]
    """What else was heard there, the likeliest first."""
    instead: str | None = None
    """The one of them on which the other hearings agree."""


class Hearing:
    """A recogniser whose figures are judged; with a witness and `careful` each of them is heard again."""

    def __init__(self, first: Whisper, witness: Whisper | None = None, *, careful: bool) -> None:
        """Takes the model that writes the transcript and, for a careful hearing, another one."""
        self.first = first
        self._witness = witness
        self._careful = careful

    def listen(self, samples: Samples, speech_until_s: float) -> list[HeardPassage]:
        """What is said in the window, each figure with a judgement."""
        table = doubt_table()
        weights = table.careful if self._careful else table.quick
        found: list[HeardPassage] = []
        for stretch in self.first.stretches(samples, speech_until_s):
            passages, signs, again = self.signs(samples, stretch)
            found += [
                replace(
                    passage,
                    heard_again=again[number],
                    doubts=tuple(_doubt(sign, weights) for sign in signs if sign.passage == number),
                )
                for number, passage in enumerate(passages)
            ]
        return found

    def signs(self, samples: Samples, stretch: Stretch) -> tuple[list[HeardPassage], list[Sign], list[str | None]]:
        """The passages of a stretch, the signs of each of its figures, and what the second hearing wrote for each."""
        from pipeline.whisper import passages

        parts = passages(stretch.words, stretch.written.logprob)
        texts = [part.text for part in parts]
        heard = items(texts)
        again: list[str | None] = [None] * len(parts)
        if not any(item.values for item in heard):
            return parts, [], again
        plain: list[Item | None] = [None] * len(heard)
        other: list[Item | None] = [None] * len(heard)
        alike: dict[int, list[tuple[float, str]]] = {}
        if self._careful:
            plain = opposite(heard, items([self.first.write(stretch.encoded, led=False, beam_size=1).text]))
            alike = self._alike(stretch)
            if self._witness is not None:
                rest = samples[round(stretch.offset_s * 16_000) :]
                text = self._witness.write(self._witness.encode(rest), led=True, beam_size=1).text
                other = opposite(heard, items([text]))
                again = _cut(text, heard, other, len(parts))
        found: list[Sign] = []
        for at, item in enumerate(heard):
            if not item.values:
                continue
            words = _word_numbers(parts, item)
            signs = {
                "unsure": -math.log(max(1e-4, min(parts[item.segment].words[k].probability for k in words))),
                "unclear": -stretch.written.logprob,
                "teen_or_ty": float(ends_in_teen_or_ty(item.text, item.value or 0.0)),
                "ty": float(ends_in_ty(item.text, item.value or 0.0)),
                "bare_ty": float(item.text.lower().strip(MARKS) in doubt_table().bare_ty["say"]),
                "alone": float(item.text.lower() in SINGLE),
            }
            others: list[str] = []
            if self._careful:
                _compare(signs, others, "plain", item, plain[at])
                if self._witness is not None:
                    _compare(signs, others, "witness", item, other[at])
                before = sum(len(part.words) for part in parts[: item.segment])
                shares = [(*share, k) for k in words for share in alike.get(before + k, [])]
                signs["alike"] = _scaled(max((share for share, _, _ in shares), default=0.0))
                for share, word, k in sorted(shares, reverse=True)[:1]:
                    if share > SMALL_SHARE:
                        core = parts[item.segment].words[k].text.strip(MARKS)
                        others.append(item.text.replace(core, word, 1))
            instead = agreed(item, plain[at], other[at])
            found.append(Sign(item.segment, item, signs, tuple(dict.fromkeys(others)), instead))
        return parts, found, again

    def _alike(self, stretch: Stretch) -> dict[int, list[tuple[float, str]]]:
        """For words that sound like another: the share of the other one, if either must have been said.

        All such words of a stretch are swapped at once, since each pass costs a twentieth of the hearing.
        """
        words, tokens = self.first.words_of(stretch.written.tokens)
        table = doubt_table().sounds_like
        found: dict[int, list[tuple[float, str]]] = {}
        others = [_sounding_like(word.strip(MARKS).lower(), table) for word in words]
        here = _local(list(stretch.likely), tokens)
        for turn in range(max((len(choice) for choice in others), default=0)):
            swaps = {at: choice[turn] for at, choice in enumerate(others) if turn < len(choice)}
            if not swaps:
                continue
            swapped = [
                self.first.tokens_of(_swapped(words[at], swaps[at])) if at in swaps else tokens[at]
                for at in range(len(words))
            ]
            flat = tuple(token for word in swapped for token in word)
            there = _local(self.first.probabilities(stretch.encoded, flat, led=stretch.written.led), swapped)
            for at, word in swaps.items():
                share = 1.0 / (1.0 + math.exp(max(-30.0, min(30.0, here[at] - there[at]))))
                found.setdefault(at, []).append((share, word))
        return found


def recogniser(model: SpeechModel, *, careful: bool, hotwords: str = "", threads: int = 0) -> Hearing:
    """The model with its lead-in and, for a careful hearing, another one as witness where one is installed.

    Raises SetupError when a model cannot be loaded.
    """
    from pipeline.speech_models import find_witness
    from pipeline.whisper import Whisper

    table = doubt_table().lead_in
    figures = table["figures"]
    lead_in = " ".join(part for part in (hotwords, table["words"], figures) if part)
    other = find_witness(model) if careful else None
    return Hearing(
        Whisper(model, lead_in=lead_in, never_said=figures, threads=threads),
        # The witness is asked for figures alone; a shorter lead-in is the cheaper one.
        Whisper(other, lead_in=figures, never_said=figures, threads=threads) if other else None,
        careful=careful,
    )


def _local(likely: list[float], tokens: list[tuple[int, ...]]) -> list[float]:
    """For each word the log probability of itself and of the word after it."""
    logs = [math.log(max(1e-9, probability)) for probability in likely]
    ends: list[int] = []
    for word in tokens:
        ends.append((ends[-1] if ends else 0) + len(word))
    return [sum(logs[ends[at] - len(word) : ends[min(at + 1, len(ends) - 1)]]) for at, word in enumerate(tokens)]


def _sounding_like(word: str, table: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Number words that sound like this one; 80 like 18 and 150 like 115 where it is written with digits."""
    if ty := TY_IN_DIGITS.fullmatch(word):
        return (f"{ty[1]}1{ty[2]}",)
    if teen := TEEN_IN_DIGITS.fullmatch(word):
        return (f"{teen[1]}{teen[2]}0",)
    return table.get(word, ())


def _scaled(share: float) -> float:
    """0 for a share that counts nothing, 0.7 at three in ten, 1 for the whole."""
    return math.log(max(share, SMALL_SHARE) / SMALL_SHARE) / -math.log(SMALL_SHARE)


def _swapped(word: str, by: str) -> str:
    core = word.strip(MARKS)
    return word.replace(core, by.capitalize() if core[:1].isupper() else by)


def _word_numbers(parts: list[HeardPassage], item: Item) -> list[int]:
    """Which words of its passage a figure is written with."""
    found: list[int] = []
    past = 0
    for number, word in enumerate(parts[item.segment].words):
        text = word.text.lstrip() if number == 0 else word.text
        if past < item.end and past + len(text) > item.start:
            found.append(number)
        past += len(text)
    return found


def _compare(signs: dict[str, float], others: list[str], name: str, item: Item, other: Item | None) -> None:
    if other is None or not other.values:
        signs[f"{name}_none"] = 1.0
    elif not agree(item, other):
        signs[f"{name}_other"] = 1.0
        others.append(other.text)


def _cut(text: str, heard: list[Item], other: list[Item | None], parts: int) -> list[str | None]:
    """The second text cut at the places that stand opposite the passages' ends."""
    found: list[str | None] = [None] * parts
    past = 0
    for number in range(parts):
        ends = [
            twin.end for item, twin in zip(heard, other, strict=True) if twin is not None and item.segment == number
        ]
        if not ends:
            continue
        end = len(text) if number == parts - 1 else max(ends)
        tail = re.match(r"[^\s\w]*", text[end:])
        end += len(tail[0]) if tail else 0
        found[number] = text[past:end].strip() or None
        past = max(past, end)
    return found


def _doubt(sign: Sign, weights: Weights) -> HeardDoubt:
    wrong = max(weights.wrong(sign.signs), weights.threshold if sign.instead else 0.0)
    return HeardDoubt(
        start=sign.item.start,
        end=sign.item.end,
        wrong=round(wrong, 4),
        confirm=reasons(sign.signs) if wrong >= weights.threshold else (),
        alternatives=sign.others,
        instead=sign.instead,
    )
