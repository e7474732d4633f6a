"""What the customer reported, in the customer's terms."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from extractors.facts import Complaint
from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.phrases import Cues, Hit, Phrases
from extractors.registry import Extractor, Found
from extractors.talk import Talk

PERSON_REACH = 6  # tokens between who says it and the verb
LONGEST = 60  # tokens of a complaint
EARLY, SOON = 130, 300  # tokens: a complaint is told at the beginning
ENOUGH = 1.8
CUT = frozenset(["so", "but", "okay", "alright", "anyway"])
FILLERS = frozenset(["um", "uh", "er", "well", "like", "okay", "so", "and", ",", "that", "quote", "-", "you", "know"])


@dataclass(frozen=True, slots=True)
class Told:
    """One stretch that may be the complaint."""

    cue: Span
    words: Span
    score: float
    because: str


@cache
def _table() -> dict[str, Any]:
    return load_table("complaint")


@cache
def _cues() -> Phrases:
    table = _table()
    return Phrases(
        [
            (kind, p)
            for kind in ("heading", "people", "says", "trouble", "no", "past", "ends", "bare")
            for p in table[kind]["say"]
        ]
    )


class _Listener(Cues):
    """The cues of one passage."""

    def __init__(self, passage: Passage) -> None:
        super().__init__(_cues(), passage)

    def longest(self, label: str) -> list[Hit]:
        """Cues of a kind, of those that begin together the longest."""
        best: dict[int, Hit] = {}
        for hit in self.hits.get(label, []):
            if hit.span.start not in best or hit.span.end > best[hit.span.start].span.end:
                best[hit.span.start] = hit
        return [best[start] for start in sorted(best)]

    def one_breath(self, index: int) -> bool:
        """Whether a token goes on from the one before it; the line after a heading does."""
        tokens = self.passage.tokens
        return 0 < index < len(tokens) and (
            self.passage.joined_lines or tokens[index].segment == tokens[index - 1].segment
        )

    def words_after(self, index: int, *, next_line: bool) -> Span | None:
        """What was said from a token on, to the end of the sentence or to where the speaker talks for himself."""
        passage = self.passage
        total = len(passage.tokens)
        steps = 0
        while index < total and passage.norm(index) in _table()["between"]["say"] and steps < 12:
            if not self.one_breath(index) and index and not next_line:
                return None
            if passage.norm(index) in ("it", "the", "a", "this") and passage.norm(index - 1) not in ("was", "like"):
                break
            index, steps = index + 1, steps + 1
        if index >= total or (index and not self.one_breath(index) and not next_line):
            return None
        end = self._end(index)
        while end > index and (passage.norm(end - 1) in FILLERS or not passage.norm(end - 1)[-1:].isalnum()):
            end -= 1
        while index < end and (
            passage.norm(index) in ("um", "uh", ",", "quote", "like") or not passage.norm(index)[:1].isalnum()
        ):
            index += 1
        return Span(index, end) if end - index >= 2 else None

    def _end(self, start: int) -> int:
        passage = self.passage
        limit = min(len(passage.tokens), start + LONGEST)
        sentence = passage.tokens[start].sentence
        stops = {hit.span.start for hit in self.between("ends", start + 2, limit)}
        end = start
        while end < limit and passage.tokens[end].sentence == sentence:
            if end in stops and end - start >= 3:
                break
            end += 1
        if end == limit and end < len(passage.tokens) and passage.tokens[end].sentence == sentence:
            while end > start + 12 and passage.norm(end - 1) not in (",", "and", ";"):
                end -= 1
        return end


def _score(listener: _Listener, words: Span, cue: int) -> float:
    """How much a stretch sounds like a complaint, by its words and by how early it is told."""
    troubles = {h.span.start for h in listener.between("trouble", words.start, words.end)}
    score = min(2.0, 0.8 * len(troubles))
    score += 1.5 if cue < EARLY else 0.8 if cue < SOON else 0.0
    near = min(words.end, words.start + 20)
    score -= (
        2.0
        if listener.between("no", words.start, near)
        else 0.7
        if listener.between("past", words.start, near)
        else 0.0
    )
    if words.end - words.start < 4:
        score -= 1.0
    return score


def _headed(listener: _Listener) -> list[Told]:
    found = []
    for hit in listener.longest("heading"):
        words = listener.words_after(hit.span.end, next_line=True)
        if words is None or words.start - hit.span.end > 25:
            continue
        words = _innermost(listener, hit.span.end, words)
        said = listener.passage.said(hit.span).lower()
        base = 3.0 if "complain" in said or "reason" in said or "problem" in said else 2.0
        if said.endswith("here for") and not listener.between("trouble", words.start, words.end):
            continue
        found.append(Told(hit.span, words, base + _score(listener, words, hit.span.start), f"“{said}” before it"))
    return found


def _innermost(listener: _Listener, start: int, words: Span) -> Span:
    """As in "Complaint, always first, the manager says no heat": what the manager says."""
    nested = _reported(listener, start, min(words.end, max(start, words.start) + 20))
    if not nested:
        return words
    best = max(nested, key=lambda t: (t.score, t.words.start))
    return best.words if best.words.end - best.words.start >= 3 else words


def _reported(listener: _Listener, start: int, end: int) -> list[Told]:
    """As in "The manager says ...": somebody, a verb of saying, and what was said."""
    passage = listener.passage
    found = []
    for hit in listener.longest("says"):
        if not start <= hit.span.start < end:
            continue
        people = [
            p
            for p in listener.between("people", hit.span.start - PERSON_REACH, hit.span.start)
            if p.span.end <= hit.span.start
        ]
        people = [p for p in people if passage.norm(p.span.start - 1) != "my" and not _interrupted(passage, p, hit)]
        said = passage.said(hit.span).lower()
        if not people:
            continue
        words = listener.words_after(
            hit.span.end, next_line=passage.norm(hit.span.end) == "" or not listener.one_breath(hit.span.end)
        )
        turned = _turned(listener, hit, people[-1])
        if turned is not None:
            words = turned
        if words is None:
            continue
        mild = said in _table()["says"]["mild"]
        if mild and not listener.between("trouble", words.start, words.end):
            continue
        score = (0.6 if mild else 1.5) + _score(listener, words, hit.span.start)
        if passage.norm(people[-1].span.start) not in ("he", "she", "they"):
            score += 0.5
        cue = Span(people[-1].span.start, hit.span.end)
        found.append(Told(cue, words, score, f"“{passage.said(cue)}”"))
    inner = {t.words: t for t in found}
    for outer in found:  # "had called, and what he said was, ...": the inner one is the complaint
        if any(outer.words.start <= t.cue.start < outer.words.start + 6 and t is not outer for t in found):
            inner.pop(outer.words, None)
    return list(inner.values())


def _interrupted(passage: Passage, person: Hit, verb: Hit) -> bool:
    """Whether somebody else stands between a person and a verb."""
    return any(passage.norm(i) in ("i", "we", "you", ".", "?") for i in range(person.span.end, verb.span.start))


def _turned(listener: _Listener, verb: Hit, person: Hit) -> Span | None:
    """As in "No ice since noon, says the fish guy" and "it don't get cold, she says": what was said comes first."""
    passage = listener.passage
    sentence = passage.sentence_span(verb.span.start)
    after = [
        passage.norm(i) for i in range(verb.span.end, min(sentence.end, verb.span.end + 5)) if passage.norm(i).isalpha()
    ]
    if len(after) > 2:
        return None
    clause = passage.clause_span(person.span.start)
    begin = (
        sentence.start
        if clause.start <= person.span.start <= clause.start + 3 or not passage.joined_lines
        else clause.start
    )
    end = person.span.start
    while end > begin and (passage.norm(end - 1) in FILLERS or passage.norm(end - 1) in ("the", "a")):
        end -= 1
    while begin < end and passage.norm(begin) in FILLERS:
        begin += 1
    begin = max(begin, end - LONGEST // 2)
    if end - begin < 4 or len(listener.between("trouble", begin, end)) < 2:
        return None
    return Span(begin, end)


def _said_the(listener: _Listener) -> list[Told]:
    """As in ", says the manager" behind what was said."""
    passage = listener.passage
    found = []
    for hit in listener.longest("says"):
        start = hit.span.start
        if passage.norm(hit.span.end) not in ("the", "my", "their") or passage.norm(start - 1) != ",":
            continue
        if not listener.between("people", hit.span.end, hit.span.end + 4):
            continue
        sentence = passage.sentence_span(start)
        begin = sentence.start
        while begin < start - 1 and passage.norm(begin) in FILLERS:
            begin += 1
        if start - 1 - begin >= 3:
            words = Span(begin, start - 1)
            found.append(
                Told(Span(start, hit.span.end + 2), words, 2.0 + _score(listener, words, start), "“says the” after it")
            )
    return found


def _bare(listener: _Listener) -> list[Told]:
    """A trouble at the very beginning that nobody is named for."""
    found = []
    for hit in listener.longest("bare"):
        if hit.span.start >= EARLY:
            break
        clause = listener.passage.sentence_span(hit.span.start)
        begin = clause.start if hit.span.start - clause.start <= 6 else hit.span.start
        while begin < hit.span.start and listener.passage.norm(begin) in FILLERS:
            begin += 1
        words = Span(begin, max(hit.span.end, min(listener._end(hit.span.start), hit.span.start + 25)))
        found.append(
            Told(
                hit.span,
                words,
                1.0 + _score(listener, words, hit.span.start),
                f"“{listener.passage.said(hit.span)}” at the beginning",
            )
        )
    return found


def _untold(listener: _Listener) -> list[Told]:
    """Where nobody is named: the first sentence of the beginning that is all trouble."""
    passage = listener.passage
    index = 0
    while index < min(EARLY, len(passage.tokens)):
        sentence = passage.sentence_span(index)
        clause = passage.clause_span(index)
        for span in (sentence, clause):
            troubles = listener.between("trouble", span.start, span.end)
            figures = sum(t.is_digits for t in passage.tokens[span.start : span.end])
            if (
                4 <= span.end - span.start <= 24
                and len({passage.said(h.span).lower() for h in troubles}) >= 2
                and figures <= 1
            ):
                begin = span.start
                while begin < span.end - 3 and passage.norm(begin) in FILLERS:
                    begin += 1
                return [
                    Told(
                        Span(begin, span.end),
                        Span(begin, span.end),
                        1.0,
                        "a trouble at the beginning, told by nobody in particular",
                    )
                ]
        index = max(clause.end, index + 1)
    return []


def tidy(text: str) -> str:
    """A spoken stretch as a sentence: fillers and a dangling mark gone, first letter large, one space."""
    text = re.sub(r"\b(?:um|uh|er)\b,?\s*", "", text, flags=re.IGNORECASE)
    text = re.sub(r"\s+", " ", text).strip(' ,;:-—"“”')
    text = re.sub(r"\bi('m|'ve|'ll|'d)?\b", lambda m: m.group().replace("i", "I", 1), text)
    return text[:1].upper() + text[1:]


def find(talk: Talk, found: Found) -> Complaint | None:
    """The likeliest stretch that tells what the customer reported, or None."""
    listener = _Listener(talk.passage)
    told = [
        *_headed(listener),
        *_reported(listener, 0, len(talk.passage.tokens)),
        *_said_the(listener),
        *_bare(listener),
    ]
    likely = [t for t in told if t.score >= ENOUGH] or _untold(listener)
    if not likely:
        return None
    best = max(likely, key=lambda t: (round(t.score, 2), -t.words.start))
    words = best.words
    return Complaint(
        text=tidy(talk.passage.said(words)), evidence=talk.passage.evidence(words), because=(best.because,)
    )


EXTRACTOR = Extractor("complaint", find, gives="complaint")
