"""What a clause speaks of: components named, parts filed under their component, and what "it" stands for."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from functools import cache

from extractors.clauses import BE, Clause, Clauses
from extractors.lexicon import load_table
from extractors.mentions import Mention, subjects
from extractors.passage import Span
from extractors.phrases import Phrases, plural
from extractors.talk import Talk
from extractors.verbs import forms

PREPOSITIONS = frozenset(
    {"on", "at", "in", "of", "from", "by", "behind", "under", "inside", "across", "through", "between", "to", "with", "for", "off", "into",
     "onto", "over", "around", "near", "above", "below", "along", "against", "about", "beside", "without", "past", "beneath", "like", "than", "via", "up", "down", "out"}
)
DETERMINERS = frozenset({"the", "a", "an", "that", "this", "these", "those", "his", "her", "their", "its", "my", "our", "your", "all", "both", "each", "every", "some", "any", "no", "another", "one", "two", "three", "four", "other"})
VERBS = frozenset({"drain", "vent", "trap", "filter", "light", "seal", "float", "plug", "fan", "wash", "rinse", "freeze", "charge", "power", "switch", "limit", "gauge", "pump", "screw", "bolt", "clip", "tap", "hose", "nut", "spring", "head"})
EDGES = frozenset({"bottom", "top", "side", "edge", "corner", "end", "face", "front", "back", "lip"})
UNDONE = frozenset({"won't", "doesn't", "didn't", "don't", "wouldn't", "can't", "couldn't"})
HARDWARE = frozenset({"screw", "screws", "bolt", "bolts", "nut", "nuts", "clip", "clips", "washer", "washers", "zip tie", "zip ties", "jumper"})
"""What nobody means by "it"."""
NEXT = 25  # tokens within which "the coil" is the coil of the valve or contactor just named
DIRT = frozenset({"dirty", "filthy", "dusty", "packed", "matted", "plugged", "greasy", "lint", "dust", "cottonwood", "clean", "cleaned", "washed", "wash", "brushed", "fins", "fin", "clogged", "blanket", "furry", "fuzzy", "grease", "hair", "flour", "caked", "nasty", "impacted", "vacuumed", "blew"})
ICE = frozenset({"ice", "iced", "frost", "frosted", "frozen", "froze", "snow", "defrost", "thawed"})
SHORT = frozenset({"valve", "hose", "gauge", "tube", "arm", "arms", "jets", "regulator", "tank", "seal", "pan", "nozzles", "stat", "probe"})
REACH = 14  # clauses back to which "it" may point
FAR = 110  # tokens back to which it may point


@dataclass(frozen=True, slots=True)
class Thing:
    """One component as a clause names it. `prep`: the preposition before it, or empty. `span`: with what belongs to its name."""

    component: str
    span: Span
    head: int
    prep: str
    place: str | None
    known: bool = True
    open: bool = False
    """A shared word that nothing resolved."""
    start: int = 0
    """First token of the noun phrase, its article included."""
    said: str = ""
    canon: str = ""
    """The word of the vocabulary that decides what fits; `component` where empty."""
    options: tuple[str, ...] = ()
    """What else a shared word may mean."""
    part: bool = False
    """A part that is filed under its component."""

    named: bool = False
    """Outside the vocabulary, but pointed at by an article or standing first: it may be a component all the same."""

    @property
    def word(self) -> str:
        """The word of the vocabulary, or the noun as said."""
        return self.canon or self.component


@cache
def groups() -> dict[str, frozenset[str]]:
    """Groups of components by name."""
    found = {name: frozenset(members) for name, members in load_table("components")["groups"].items()}
    return found | {"noun": nouns() | frozenset(plural(noun) for noun in nouns())}


@cache
def spread(names: tuple[str, ...]) -> frozenset[str]:
    """Groups and components as components."""
    found: set[str] = set()
    for name in names:
        found |= groups().get(name, frozenset({name}))
    return frozenset(found)


@cache
def figures_only() -> frozenset[str]:
    """Subjects that are told in figures and have no state of their own."""
    return groups()["figure"]


@cache
def nouns() -> frozenset[str]:
    """Nouns of the trade that stand as they were said."""
    return frozenset(load_table("components")["nouns"]["say"])


@cache
def _parts() -> tuple[Phrases, list[tuple[tuple[str, ...], bool]]]:
    """Phrases of parts and nouns; the owners of each part, and whether it stands alone where none was named lately."""
    rows: list[tuple[str, str]] = [
        (phrase, p) for phrase in load_table("components")["nouns"]["say"] for p in (phrase, plural(phrase))
    ]
    owners: list[tuple[tuple[str, ...], bool]] = []
    for number, row in enumerate(load_table("components")["part"]):
        owners.append((tuple(row["of"]), row.get("alone", False)))
        rows += [(str(number), p) for phrase in row["say"] for p in (phrase, plural(phrase))]
    return Phrases(rows), owners


@cache
def _states() -> frozenset[str]:
    """Single words that tell a state: "the motor's fine" names no thing called fine."""
    found: set[str] = set()
    for row in load_table("conditions")["row"]:
        single = [phrase for phrase in row["say"] if " " not in phrase]
        if row["kind"] in ("state", "thing"):
            found.update(single)
        elif row["kind"] == "deed":
            found.update(word for phrase in single for word, _ in forms(phrase))
    return frozenset(found)


@cache
def _words(name: str) -> frozenset[str]:
    return frozenset(load_table("components")[name]["say"])


@cache
def _machines() -> tuple[Phrases, list[dict[str, str]]]:
    rows = load_table("components")["usual"]
    return (
        Phrases([(str(n), p) for n, row in enumerate(rows) for word in row["machine"] for p in (word, plural(word))]),
        [{key: value for key, value in row.items() if key != "machine"} for row in rows],
    )


def _machine(talk: Talk) -> dict[str, str]:
    """What shared words usually mean on the machine whose words fall most often; empty when none falls."""
    phrases, usual = _machines()
    counts = Counter(hit.label for hit in phrases.find(talk.passage))
    return usual[int(counts.most_common(1)[0][0])] if counts else {}


class Components:
    """Things by clause, and what a pronoun or a clause without a subject speaks of."""

    def __init__(self, talk: Talk, clauses: Clauses) -> None:
        """Linear in the passage."""
        self.passage = talk.passage
        self.clauses = clauses
        self._places = talk.places
        self._place_starts = [p.span.start for p in talk.places]
        self._machine = _machine(talk)
        self._mentions = talk.mentions
        figure_tokens = {i for f in talk.figures for i in range(f.span.start, f.span.end)}
        self.things: list[Thing] = self._join(sorted(self._named(talk, figure_tokens), key=lambda t: t.span))
        self._starts = [t.span.start for t in self.things]

    # ------------------------------------------------------------ naming
    def _named(self, talk: Talk, figure_tokens: Collection[int]) -> Iterator[Thing]:
        parts, owners = _parts()
        taken: set[int] = set()
        part_hits = {hit.span: hit.label for hit in parts.find(self.passage)}
        shadowed: set[Span] = set()
        by_start = sorted(part_hits)
        for mention in talk.mentions:
            position = bisect_left(by_start, Span(mention.span.start - 4, 0))
            for span in by_start[position : position + 6]:
                if span.overlaps(mention.span) and not (span.start <= mention.span.start and mention.span.end <= span.end):
                    shadowed.add(span)
        for mention in talk.mentions:
            if any(span.overlaps(mention.span) and span not in shadowed for span in by_start[bisect_left(by_start, Span(mention.span.start - 4, 0)) :][:6]):
                continue
            if self._no_component(mention):
                continue
            taken.update(range(mention.span.start, mention.span.end))
            name = self._usually(mention)
            canon = ""
            if name in subjects() and subjects()[name].noun:
                said = " ".join(self.passage.norms[mention.span.start : mention.span.end])
                canon, name = name, name if said == plural(name) else said
            yield replace(self._thing(name, mention.span, mention.place, open_=mention.open), options=mention.options if mention.weak else (), canon=canon)
        for span, label in part_hits.items():
            if self.passage.norm(span.start - 1) in UNDONE:
                continue
            if span in shadowed or any(i in taken for i in range(span.start, span.end)):
                continue
            taken.update(range(span.start, span.end))
            if not label.isdigit():
                yield self._thing(" ".join(self.passage.norms[span.start : span.end]), span, None)
                continue
            of, alone = owners[int(label)]
            yield self._thing("?" + "|".join((str(int(alone)), *of)), span, None)
        for index, tag in enumerate(self.clauses.tags):
            norm = self.passage.norm(index)
            if tag in ("NN", "NNS") and index not in taken and index not in figure_tokens and norm[:1].isalpha() and len(norm) > 2 and norm not in _words("pronouns") | _states():
                yield self._thing(norm, Span(index, index + 1), None, known=False)

    def _no_component(self, mention: Mention) -> bool:
        """Words of the vocabulary that name no component here: "on the line", "call it", "the run"."""
        words = self.passage.norms[mention.span.start : mention.span.end]
        before, after = self.passage.norm(mention.span.start - 1), self.passage.norm(mention.span.end)
        if len(words) == 1 and words[0] in VERBS and after in ("the", "it", "that", "this", "his", "her", "them", "those", "my"):
            return True
        if words == ("split",) or (len(words) == 1 and before in UNDONE):
            return True
        if words == ("juice",) and before not in ("on", "of", "no"):
            return True
        if words == ("oil",) or (words == ("voltage",) and before in ("a", "not")):
            return True
        if mention.subject in ("run time", "travel", "labor"):
            return True
        if words[0] in ("been", "let", "call", "put", "drove", "weighed", "recovered", "hours", "bill", "low", "on", "of", "coming", "going", "drive", "driving", "blowing"):
            return True
        if words == ("line",) and before in ("long", "first", "bottom", "down"):
            return True
        if set(words) & {"mine", "meter", "thermometer", "gauge", "gauges", "own", "my"} or (words == ("probe",) and before in ("my", "own")):
            return True
        return words in (("screen",), ("heat",)) or (words[-1] == "light" and before in ("my", "green", "red", "more", "a"))

    def _usually(self, mention: Mention) -> str:
        """A shared word that its sentence does not resolve, as the machine at hand usually has it."""
        word = self.passage.norm(mention.span.start).removesuffix("s")
        usual = self._machine.get(word)
        alone = mention.span.end - mention.span.start == 1
        if alone and word == "coil" and mention.weak and mention.subject == "evaporator":
            clause = self.clauses.at(mention.span.start)
            words = {self.passage.norm(i) for i in range(clause.span.start, clause.span.end)}
            if mention.open and words & DIRT and not words & ICE:
                return self._machine.get("dirty coil", "condenser")
        if alone and word == "gasket" and (usual or self._on_a_flange(mention)):
            return "gasket"
        if alone and word in ("filter", "inlet"):
            return self._short_for(word, mention) or usual or mention.subject
        if not mention.weak or usual is None or not (alone or self.passage.norms[mention.span.start : mention.span.end] == ("fan", "motor")):
            return mention.subject
        if word == "valve" and mention.subject == "service valve":
            return usual
        if mention.open or (word == "motor" and mention.subject == "compressor"):
            return usual
        return mention.subject

    def _on_a_flange(self, mention: Mention) -> bool:
        """Whether a gasket is no door's: "new gasket on the flange"."""
        clause = self.clauses.at(mention.span.start)
        return any(self.passage.norm(i) in ("flange", "element", "burner", "inducer", "flue", "pump", "cover") for i in range(clause.span.start, clause.span.end))

    def _short_for(self, word: str, mention: Mention) -> str | None:
        """The component of a fuller name said shortly before: "the filter" after "the water filter"."""
        for other in reversed(self._mentions[: self._mentions.index(mention)]):
            if mention.span.start - other.span.end > 2 * FAR:
                return None
            words = self.passage.norms[other.span.start : other.span.end]
            if len(words) > 1 and word in (words[0], words[-1].removesuffix("s")):
                return other.subject
        return None

    def _thing(self, component: str, span: Span, place: str | None, *, known: bool = True, open_: bool = False) -> Thing:
        start = span.start
        clause = self.clauses.at(span.start)
        tags = self.clauses.tags
        while start > clause.span.start:
            norm, tag = self.passage.norm(start - 1), tags[start - 1]
            if norm in DETERMINERS or tag in ("JJ", "JJR", "JJS", "CD", "PRP$", "DT", "POS") or (
                tag in ("NN", "NNP", "VBN", "VBG") and norm not in BE and norm not in PREPOSITIONS and self._modifies(start - 1, clause)
            ):
                start -= 1
            else:
                break
        before = self.passage.norm(start - 1) if start > clause.span.start else ""
        return Thing(component, span, span.end - 1, before if before in PREPOSITIONS else "", place, known, open_, start, self.passage.said(span).lower())

    def _modifies(self, index: int, clause: Clause) -> bool:
        """Whether a noun or participle before a noun belongs to its name: "torn gasket", "brewery pump"."""
        before = self.passage.norm(index - 1) if index > clause.span.start else ""
        return before in DETERMINERS or before in PREPOSITIONS or self.clauses.tags[index - 1][:2] in ("JJ", "DT")

    def _join(self, named: list[Thing]) -> list[Thing]:
        """Neighbouring nouns as one name, its last noun the thing; a part under its component."""
        found: list[Thing] = []
        lately: list[Thing] = []
        for thing in named:
            owner = found[-1] if found and self._adjoins(found[-1], thing) else None
            if thing.component.startswith("?"):
                alone, *of = thing.component[1:].split("|")
                thing = replace(self._owned(thing, owner, tuple(of), lately, alone == "1"), part=alone == "1")
                if owner is not None:
                    found.pop()
                    thing = replace(thing, span=Span(owner.span.start, thing.span.end), start=owner.start, prep=owner.prep, place=thing.place or owner.place)
            elif owner is not None and owner.known and thing.said in EDGES:
                found.pop()
                thing = replace(owner, span=Span(owner.span.start, thing.span.end), head=thing.head)
            elif owner is not None and owner.known and not thing.known and self.is_abstract(thing):
                # "pump pressure", "compressor amps": told of a figure, not of the pump
                found.pop()
                thing = replace(thing, span=Span(owner.span.start, thing.span.end), start=owner.start, prep=owner.prep)
            elif owner is not None and owner.known and thing.said in ("coil", "coils", "motor", "wire", "lead") and owner.component in groups()["contact"] | groups()["valve"]:
                found.pop()
                thing = replace(owner, span=Span(owner.span.start, thing.span.end), head=thing.head)
            elif owner is not None and owner.known and not thing.known:
                # "pump seal": no word of the vocabulary, so it is filed under the pump
                found.pop()
                thing = replace(owner, span=Span(owner.span.start, thing.span.end), head=thing.head, said=f"{owner.said} {thing.said}")
            elif owner is not None:
                found.pop()
                thing = replace(thing, span=Span(owner.span.start, thing.span.end), start=min(owner.start, thing.start), prep=owner.prep or thing.prep, place=thing.place or owner.place)
            if not thing.component:
                continue
            if thing.said in ("coil", "coils") and (self._wired(thing) or (lately and lately[-1].component in groups()["contact"] | groups()["valve"] and thing.span.start - lately[-1].span.end <= NEXT and not self._exposed(thing))):
                near = next((t for t in reversed(lately) if t.component in groups()["contact"] | groups()["valve"] and thing.span.start - t.span.end <= FAR), None)
                thing = replace(thing, component=near.component, canon=near.canon) if near is not None else thing
            if thing.said in ("motor", "the motor") and owner is None:
                near = next((t for t in reversed(lately) if thing.span.start - t.span.end <= FAR and (t.component in groups()["fan"] | {"pump"} or t.said.endswith("motor"))), None)
                thing = replace(thing, component=near.component, canon=near.canon, open=False) if near is not None else thing
            if thing.said in SHORT and owner is None:
                full = next((t for t in reversed(lately) if thing.span.start - t.span.end <= FAR and " " in t.said and t.said.endswith(" " + thing.said)), None)
                thing = replace(thing, component=full.component, canon=full.canon, open=False) if full is not None else thing
            if not thing.known:
                if owner is not None and not owner.known and not self.is_abstract(thing) and not self.is_abstract(owner) and owner.span.end == thing.head:
                    said = f"{owner.said} {thing.said}"
                    thing = replace(thing, component=said, said=said)
                thing = replace(thing, named=self._is_named(thing))
            place = thing.place or self._place_before(thing)
            thing = replace(thing, place=place)
            found.append(thing)
            if thing.known:
                lately.append(thing)
        return self._inside(found)

    def _inside(self, found: list[Thing]) -> list[Thing]:
        """A noun that no contract word names, filed under the component it is in: "the bladder in the tank"."""
        done: list[Thing] = []
        for number, thing in enumerate(found):
            following = found[number + 1] if number + 1 < len(found) else None
            if (
                (thing.component in groups()["noun"] or thing.part) and following is not None and following.known and following.component not in groups()["noun"]
                and following.prep in ("in", "of", "on") and following.start - 1 - thing.span.end <= 0
                and following.word not in figures_only()
            ):
                thing = replace(thing, component=following.component, canon=following.canon)
            done.append(thing)
        return done

    def _exposed(self, thing: Thing) -> bool:
        """Whether a coil is spoken of as a heat exchanger: "the coil's dirty", "ice on the coil"."""
        clause = self.clauses.at(thing.span.start)
        return any(self.passage.norm(i) in DIRT | ICE for i in range(clause.span.start, clause.span.end)) or thing.prep in ("in", "through", "across", "over", "off")

    def _is_named(self, thing: Thing) -> bool:
        """Whether a noun outside the vocabulary may be a component: "the paddle", "its chain", "knob cracked"."""
        if self.is_abstract(thing) or len(thing.said) < 4:
            return False
        first = self.passage.norm(thing.start)
        return first in ("the", "that", "this", "his", "her", "their", "both", "its", "another", "those", "these", "one", "new") or thing.start <= self.clauses.at(thing.span.start).first

    def _wired(self, thing: Thing) -> bool:
        """Whether a coil is spoken of as wound wire: "unplug the coil", "24 volts on the coil"."""
        clause = self.clauses.at(thing.span.start)
        return any(self.passage.norm(i) in ("unplug", "ohm", "ohms", "ohmed", "volts", "volt", "energized", "energize", "coil's") for i in range(clause.span.start, clause.span.end))

    def _adjoins(self, one: Thing, other: Thing) -> bool:
        gap = range(one.span.end, other.span.start)
        if len(gap) > 2 or self.clauses.at(one.span.start).index != self.clauses.at(other.span.start).index:
            return False
        return all(self.passage.norm(i) in ("'s", "'") for i in gap) and (len(gap) == 0 or (self.passage.norm(one.span.end) == "'s" and self._noun_follows(one, other)))

    def _noun_follows(self, one: Thing, other: Thing) -> bool:
        """Whether 's joins two nouns as owner and part: "the right fan's blade", not "the problem's the fan"."""
        return other.start <= one.span.end + 1

    def _owned(self, thing: Thing, owner: Thing | None, of: tuple[str, ...], lately: list[Thing], alone: bool) -> Thing:
        """A part, filed under the component named beside it, after it ("on that motor") or lately."""
        if owner is not None and owner.component in of:
            return replace(thing, component=owner.component, canon=owner.canon, open=owner.open)
        if owner is not None and owner.known and len(of) > 1:
            return replace(thing, component=owner.component, canon=owner.canon, open=owner.open)
        usual = self._machine.get(thing.said.removesuffix("s"))
        if usual in of:
            return replace(thing, component=usual, open=len(of) > 1, options=of)
        for other in reversed(lately):
            if thing.span.start - other.span.end > FAR:
                break
            if other.component in of:
                return replace(thing, component=other.component, canon=other.canon)
        return replace(thing, component=thing.said if alone else of[0], canon=of[0] if alone else "", open=len(of) > 1 and not alone, options=of)

    def _place_before(self, thing: Thing) -> str | None:
        position = bisect_left(self._place_starts, thing.start)
        if position < len(self._places) and self._places[position].span.end <= thing.span.start + 1:
            return self._places[position].said
        return None

    # ------------------------------------------------------------ asking
    def of(self, clause: Clause) -> list[Thing]:
        """The things that a clause names, in order."""
        return self.between(clause.span.start, clause.span.end)

    def between(self, start: int, end: int) -> list[Thing]:
        """The things named between two tokens, in order."""
        return self.things[bisect_left(self._starts, start) : bisect_left(self._starts, end)]

    def before(self, token: int, clause: Clause, fits: Collection[str] | None, *, outside: bool = False) -> Thing | None:
        """What a clause that names nothing speaks of: the nearest thing before a token that fits.

        `outside`: nouns that no table knows count as well, whatever fits. Of one clause the thing that is no mere place ("on the roof") comes first; nothing is looked for far back.
        """
        whole: Thing | None = None
        for index in range(clause.index - 1, max(-1, clause.index - 1 - REACH), -1):
            earlier = self.clauses.clauses[index]
            if token - earlier.span.end > FAR:
                break
            things = [t for t in self.of(earlier) if (t.known and t.said not in HARDWARE) or (outside and t.named and not t.prep)]
            heads = [t for t in things if not t.prep]
            if any(self.passage.norm(i) in ("i", "we") for i in range(earlier.span.start, earlier.span.end)):
                heads.reverse()  # "while the pump ran I looked at the belts": what I did it to
            ordered = heads + [t for t in things if t.prep]
            if earlier.sentence == clause.sentence:
                ordered = self._headed(earlier, fits) or ordered
            for thing in ordered:
                if thing.component in ("unit", "system"):
                    whole = whole or (thing if fits is None or thing.component in fits else None)
                elif fits is None or thing.word in fits or not thing.known:
                    return thing if whole is None or fits is not None else whole
        return whole

    def _headed(self, clause: Clause, fits: Collection[str] | None) -> list[Thing]:
        """The thing that heads the sentence ("door heaters, the three of them, ..."), where it fits."""
        index = clause.index
        while index > 0 and self.clauses.clauses[index - 1].sentence == clause.sentence:
            index -= 1
        head = self.clauses.clauses[index]
        things = [t for t in self.of(head) if t.known and not t.prep]
        if things and things[0].start <= head.first and not any(self.clauses.tags[i][:2] == "VB" for i in range(head.first, head.span.end)) and (fits is None or things[0].component in fits):
            return things[:1]
        return []

    def header(self, clause: Clause) -> Thing | None:
        """The thing that heads the sentence of a clause, if one does and the clause is not itself that head."""
        things = self._headed(clause, None)
        return things[0] if things and things[0].span.end <= clause.span.start else None

    def machine_word(self, word: str) -> str | None:
        """What a word usually means on the machine at hand."""
        return self._machine.get(word)

    def place_alone(self, start: int, end: int) -> str | None:
        """A place word between two tokens that stands for the thing itself: "the left one", "bottom"."""
        position = bisect_left(self._place_starts, start)
        while position < len(self._places) and self._places[position].span.end <= end:
            return self._places[position].said
        return None

    def is_pronoun(self, token: int) -> bool:
        """Whether a word stands for a thing named before."""
        return self.passage.norm(token) in _words("pronouns")

    def is_abstract(self, thing: Thing) -> bool:
        """Whether a noun that is no word of the vocabulary is no component either."""
        head = self.passage.norm(thing.head)
        return not thing.known and (head in _words("abstract") or head.removesuffix("s") in _words("abstract"))

    def last_before(self, token: int) -> Thing | None:
        """The nearest known thing before a token."""
        for thing in reversed(self.things[: bisect_right(self._starts, token - 1)]):
            if thing.known:
                return thing
        return None
