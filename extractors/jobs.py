"""Tells the jobs of a day's talk apart: where another begins, what goes back to an earlier one, what is one job."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from extractors.facts import Transcript
from extractors.lexicon import load_table
from extractors.machines import Machine, Surroundings, machines
from extractors.number_words import number_word
from extractors.passage import Passage, Span, make_passage
from extractors.phrases import Hit, Phrases
from extractors.spelled_again import settled
from extractors.spelling import spell

Job = list[tuple[int, tuple[int, ...]]]
"""One job: each source by index with the indices of its segments, in order."""

OPENING = 70  # tokens in which a job names itself
ENOUGH = 25  # tokens that a job has at least
WITHIN = 45  # tokens after a cue in which the new machine or place is named
LEAD = 6  # tokens at the beginning of a line in which a name points at a job


@cache
def _table() -> dict[str, Any]:
    return load_table("jobs")


@cache
def _cues() -> Phrases:
    table = _table()
    rows = [(kind, p) for kind in ("strong", "medium", "arrival", "end", "back", "joined") for p in table[kind]["say"]]
    rows += [("no_before", p) for p in table["no"]["before"]] + [("no_after", p) for p in table["no"]["after"]]
    rows += [("street", p) for p in load_table("asides")["address"]["after"]]
    rows += [("person", p) for p in table["person"]["say"]]
    rows += [("at_site", f"at the {p}") for p in load_table("locations")["site"]["say"]]
    return Phrases(rows + [("number", p) for p in ("model", "serial", "nameplate", "data plate")])


@cache
def _trade_words() -> frozenset[str]:
    """Words of the subjects: they name no job, for every job has compressors."""
    said = [phrase for row in load_table("subjects").values() for phrase in row["say"]]
    return frozenset(word for phrase in said for word in re.findall(r"[a-z]+", phrase))


@cache
def _place_words() -> frozenset[str]:
    """Words of rooms and houses: they may name a job though they stand in the vocabulary too."""
    table = load_table("locations")
    said = [*table["room"]["say"], *table["room"]["numbered"], *table["site"]["say"]]
    return frozenset(word for phrase in said for word in phrase.split())


FILLERS = frozenset(
    [
        "okay",
        "ok",
        "alright",
        "all",
        "right",
        "so",
        "and",
        "then",
        "now",
        "uh",
        "um",
        "oh",
        "well",
        "anyway",
        "but",
        ",",
        ".",
        "hm",
        "yeah",
        "let's",
        "see",
        "on",
        "to",
        "the",
        "my",
        "this",
        "was",
        "is",
        "that's",
        "here's",
    ]
)


@dataclass(slots=True)
class _Stretch:
    """A job in the making: its source and first segment, and the words that name it."""

    source: int
    first: int
    names: frozenset[str] = frozenset()
    serials: frozenset[str] = frozenset()
    segments: list[int] = field(default_factory=list)


class _Source:
    """One transcript with its cues."""

    def __init__(self, transcript: Transcript) -> None:
        self.passage: Passage = make_passage(transcript)
        self.count = len(transcript.segments)
        self.hits: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self.hits.setdefault(hit.label, []).append(hit)
        self.begins = {label: [hit.span.start for hit in hits] for label, hits in self.hits.items()}
        self.near = Surroundings(self.passage)
        self.machines: list[Machine] = machines(self.passage, self.near)
        self.nouns = frozenset(
            word for m in self.machines for word in re.findall(r"[a-z]+(?=-)|[a-z]+$", m.type.lower())
        )
        self.first_token: list[int] = []
        tokens = self.passage.tokens
        position = 0
        for number in range(self.count):
            while position < len(tokens) and tokens[position].segment < number:
                position += 1
            self.first_token.append(position)
        self.first_token.append(len(tokens))

    def tokens_of(self, segment: int) -> Span:
        """The tokens of a segment."""
        return Span(self.first_token[segment], self.first_token[segment + 1])

    def cues(self, label: str, start: int, end: int) -> list[Hit]:
        """Cues that begin in [start, end)."""
        begins = self.begins.get(label, [])
        return self.hits.get(label, [])[bisect_left(begins, start) : bisect_left(begins, end)]

    def opens(self, hit: Hit) -> bool:
        """Whether a cue stands at the beginning of its clause, and nothing beside it takes it back."""
        passage, start = self.passage, hit.span.start
        segment = self.tokens_of(passage.tokens[start].segment)
        begin = max(segment.start, passage.clause_span(start).start)
        if any(passage.norm(i) not in FILLERS for i in range(begin, start)):
            return False
        if any(h.span.end == start for h in self.cues("no_before", start - 5, start)):
            return False
        return not any(h.span.start == hit.span.end for h in self.cues("no_after", hit.span.end, hit.span.end + 1))

    def _kinds(self, start: int, end: int) -> set[str]:
        """Machines that were named in [start, end) as those of the job, by their nouns."""
        return {
            m.type.split()[-1]
            for m in self.machines
            if start <= m.span.start < end and m.score > -2.0 and not m.misheard
        }

    def new_thing(self, start: int, since: int) -> bool:
        """Whether another machine, another plate or another place is named right after a token."""
        end = min(start + WITHIN, len(self.passage.tokens))
        named = self._kinds(start, min(end, start + 25))
        if named - self._kinds(since, start):
            return True
        line = min(start + 16, self.tokens_of(self.passage.tokens[start].segment).end)
        if self.cues("street", start, line) or self.cues("at_site", start, line):
            return True
        return bool(named) and bool(self.cues("number", start, end))

    def serials(self, start: int, end: int) -> frozenset[str]:
        """Serial numbers that were said in [start, end)."""
        found = set()
        for hit in self.cues("number", start, end):
            if self.passage.norm(hit.span.start) != "serial":
                continue
            for index in range(hit.span.end, min(end, hit.span.end + 6)):
                one = spell(self.passage, index)
                if one is not None and one.digits >= 3:
                    found.add(settled(self.passage, one).bare)
                    break
        return frozenset(found)

    def names(self, start: int, end: int) -> frozenset[str]:
        """Words that name the job of [start, end): its machine, house, street, people, and capitalised words."""
        passage = self.passage
        found: set[str] = set()
        for machine in self.machines:
            if start <= machine.span.start < end:
                found.update(passage.norms[machine.span.start : machine.span.end])
        for label in ("room", "site", "numbered"):
            for span in self.near.spans.get(label, []):
                if start <= span.start < end:
                    found.update(passage.norms[max(start, span.start - 1) : span.end])
        for hit in self.cues("street", start, end):
            found.update(passage.norms[max(start, hit.span.start - 2) : hit.span.start])
        for hit in self.cues("person", start, end):
            found.update(passage.norms[max(start, hit.span.start - 1) : hit.span.end])
        numbers = 0
        for index in range(start, end):
            token = passage.tokens[index]
            opens = (
                index == 0
                or token.sentence != passage.tokens[index - 1].sentence
                or token.segment != passage.tokens[index - 1].segment
            )
            if not opens and token.text[:1].isupper() and not token.text.isupper():
                found.add(token.norm)
            if numbers >= 2 and token.is_word and number_word(token.norm) is None:
                found.add(token.norm)
            numbers = numbers + 1 if number_word(token.norm) or token.is_digits else 0
        return frozenset(
            word
            for word in found
            if len(word) > 3
            and word.isalpha()
            and word not in _table()["common"]["say"]
            and number_word(word) is None
            and (word not in _trade_words() or word in self.nouns or word in _place_words())
        )


def _starts(source: _Source) -> list[int]:
    """Tokens at which another job begins; the first job begins at 0."""
    found = [0]
    total = len(source.passage.tokens)
    candidates = sorted(
        (hit.span.start, label)
        for label in ("strong", "medium", "arrival")
        for hit in source.hits.get(label, [])
        if source.opens(hit)
    )
    for start, label in candidates:
        if start - found[-1] < ENOUGH or total - start < ENOUGH:
            continue
        if label == "medium" and not source.new_thing(start, found[-1]):
            continue
        if label == "arrival" and not (source.cues("end", start - 30, start) and source.new_thing(start, found[-1])):
            continue
        found.append(start)
    return found


def _segment_at(source: _Source, token: int) -> int:
    """The segment that a job beginning at a token starts with: its own, or the next where most of it comes before."""
    segment = source.passage.tokens[token].segment
    span = source.tokens_of(segment)
    late = token - span.start > span.end - token
    return segment + 1 if late and segment + 1 < source.count else segment


def _stretches(sources: Sequence[_Source]) -> list[_Stretch]:
    """The jobs of all sources, in order, before remarks are given back."""
    found: list[_Stretch] = []
    for number, source in enumerate(sources):
        firsts = sorted({_segment_at(source, start) if start else 0 for start in _starts(source)})
        for at, first in enumerate(firsts):
            end = firsts[at + 1] if at + 1 < len(firsts) else source.count
            start_token, end_token = source.first_token[first], source.first_token[end]
            turns = source.cues("back", start_token + 1, start_token + OPENING)
            opening = min(end_token, turns[0].span.start if turns else start_token + OPENING)
            found.append(
                _Stretch(
                    number,
                    first,
                    source.names(start_token, opening),
                    source.serials(start_token, end_token),
                    list(range(first, end)),
                )
            )
    return found


def _own_names(stretches: Sequence[_Stretch]) -> list[frozenset[str]]:
    """The words that name one job alone."""
    counts = Counter(word for stretch in stretches for word in stretch.names)
    return [frozenset(word for word in stretch.names if counts[word] == 1) for stretch in stretches]


def _pointed_at(
    source: _Source, segment: int, here: int, names: list[frozenset[str]], said_here: Counter[str]
) -> int | None:
    """The job that a segment speaks of, told from the words that point at one; null where none does.

    `here`: the job in whose stretch it stands; `names`: of the jobs up to that one.
    """
    span = source.tokens_of(segment)
    norms = source.passage.norms[span.start : span.end]
    backs = source.cues("back", span.start, span.end)
    ordinals = _table()["ordinal"]
    if backs:
        for index, norm in enumerate(norms[:-1]):
            which = ordinals.get(norm, 0)
            if (
                0 < which <= here
                and norms[index + 1] in ("one", "job", "stop", "call", "place", "house", "machine")
                and norms[max(0, index - 1)] in ("the", "that", "my", ",")
            ):
                return int(which) - 1
    scores: Counter[int] = Counter()
    for job, words in enumerate(names):
        for index, norm in enumerate(norms):
            if norm in words:
                lead = _leads(norms, index)
                if job == here:
                    scores[job] += 2 if backs or lead else 1
                elif _after(backs, span.start + index) and _led(norms, index):
                    scores[job] += 3
                elif lead and said_here[norm] <= 1:
                    scores[job] += 2
    if not scores:
        return None
    best = max(scores, key=lambda job: (scores[job], job == here))
    return best if scores[best] >= 2 else None


def _leads(norms: Sequence[str], index: int) -> bool:
    """Whether a name stands at the beginning of a line as what it is about: "so at Larch", "and the brewery,"."""
    if index > LEAD:
        return False
    return _led(norms, index)


def _led(norms: Sequence[str], index: int) -> bool:
    """Whether a preposition or article leads to a name."""
    return any(word in ("at", "for", "on", "the", "in", "with", "to") for word in norms[max(0, index - 3) : index])


def _after(backs: Sequence[Hit], index: int) -> bool:
    """Whether a word stands close after a cue that turns back."""
    return any(0 <= index - hit.span.start <= 7 for hit in backs)


def _goes_on(source: _Source, segment: int) -> bool:
    """Whether a segment goes on with the job of the one before: "and their heat exchanger"."""
    span = source.tokens_of(segment)
    norms = [
        n
        for n in source.passage.norms[span.start : min(span.end, span.start + 4)]
        if n not in ("oh", "uh", "um", ",", "okay")
    ]
    return (
        bool(norms) and norms[0] in ("and", "also", "plus") and any(n in _table()["goes_on"]["say"] for n in norms[1:3])
    )


def _given_back(sources: Sequence[_Source], stretches: list[_Stretch]) -> dict[int, dict[int, list[int]]]:
    """Segments by job and source, remarks about an earlier job given to it."""
    names = _own_names(stretches)
    out: dict[int, dict[int, list[int]]] = {}
    for here, stretch in enumerate(stretches):
        source = sources[stretch.source]
        start, end = source.first_token[stretch.segments[0]], source.first_token[stretch.segments[-1] + 1]
        said_here = Counter(source.passage.norms[start:end])
        earlier = [
            words if stretches[job].source == stretch.source else frozenset()
            for job, words in enumerate(names[: here + 1])
        ]
        before = here
        for segment in stretch.segments:
            job = here
            if here > 0 and segment > stretch.first and stretches[here - 1].source == stretch.source:
                pointed = _pointed_at(source, segment, here, earlier, said_here)
                if pointed is not None:
                    job = pointed
                elif before != here and _goes_on(source, segment):
                    job = before
            before = job
            out.setdefault(job, {}).setdefault(stretch.source, []).append(segment)
    return out


def _joins(
    source: _Source, stretch: _Stretch, earlier: Sequence[_Stretch], names: Sequence[frozenset[str]]
) -> int | None:
    """The earlier job of another source that a source's first job goes on with, or null."""
    for number, other in enumerate(earlier):
        if other.source != stretch.source and other.serials & stretch.serials:
            return number
    start = source.first_token[stretch.first]
    opening = source.cues("joined", start, start + 14)
    if not opening:
        return None
    words = set(source.passage.norms[start : start + 40])
    scores = {n: len(words & names[n]) for n, other in enumerate(earlier) if other.source != stretch.source}
    if not scores:
        return None
    best = max(scores, key=lambda n: (scores[n], n))
    if scores[best]:
        return best
    plain = source.passage.said(opening[0].span).lower()
    named = {m.type.split()[-1] for m in source.machines if start <= m.span.start < start + 30 and m.score > 0.9}
    others = {word for n in scores for word in earlier[n].names}
    if named and not named & others and plain not in ("part two", "part 2", "continuing", "continued", "same job"):
        return None
    return best


def split_jobs(transcripts: Sequence[Transcript]) -> list[Job]:
    """The jobs of a day, in the order in which they begin.

    One source is one job unless its words begin another ("next stop", a second machine with a plate of its own);
    sources are one job where the words say so ("back at the cooler") or the serial is the same; a late remark is
    given back to its job. Every segment belongs to exactly one job. Linear in the day's length.
    """
    sources = [_Source(transcript) for transcript in transcripts]
    stretches = [s for s in _stretches(sources) if s.segments]
    whole = [n for n, source in enumerate(sources) if source.count == 0]
    if not stretches:
        return [[(n, ())] for n in whole]
    by_job = _given_back(sources, stretches)
    all_names = _own_names(stretches) if len(stretches) > 1 else [stretches[0].names]
    target = list(range(len(stretches)))
    for number, stretch in enumerate(stretches):
        opens_source = number == 0 or stretches[number - 1].source != stretch.source
        if number and opens_source:
            joined = _joins(
                sources[stretch.source], stretch, stretches[:number], _loose_names(stretches[:number], all_names)
            )
            if joined is not None:
                target[number] = target[joined]
    jobs: dict[int, dict[int, list[int]]] = {}
    for number in range(len(stretches)):
        for source_number, segments in by_job.get(number, {}).items():
            jobs.setdefault(target[number], {}).setdefault(source_number, []).extend(segments)
    found: list[Job] = [[(s, tuple(sorted(jobs[n][s]))) for s in sorted(jobs[n])] for n in sorted(jobs)]
    silent: list[Job] = [[(n, ())] for n in whole]
    return sorted([*found, *silent], key=lambda job: (job[0][0], job[0][1][:1]))


def _loose_names(stretches: Sequence[_Stretch], own: Sequence[frozenset[str]]) -> list[frozenset[str]]:
    """The names by which a later source may call an earlier job: all of its own, for the later source repeats them."""
    counts = Counter(word for stretch in stretches for word in stretch.names)
    return [frozenset(w for w in stretch.names if counts[w] == 1) | own[n] for n, stretch in enumerate(stretches)]
