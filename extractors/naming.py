"""Names the components of a talk: words of the vocabulary, parts under their component, nouns as they were said."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace

from extractors.clauses import BE, Clauses
from extractors.grammar import small_words
from extractors.mentions import Mention, subjects
from extractors.passage import Span
from extractors.phrases import plural
from extractors.talk import Talk
from extractors.things import Part, Thing, figures_only, groups, listed, part_phrases, state_words

FAR = 110  # tokens back to which a part finds its component
NEXT = 25  # tokens within which "the coil" is the coil of the valve or contactor just named
MODIFIER_TAGS = ("JJ", "JJR", "JJS", "CD", "PRP$", "DT", "POS")
NOUN_TAGS = ("NN", "NNS")


def name_things(talk: Talk, clauses: Clauses, usual: dict[str, str]) -> list[Thing]:
    """The things of a talk in order. `usual`: what shared words mean on the machine at hand. Linear in the talk."""
    found = sorted(_Finder(talk, clauses, usual).things(), key=lambda item: item[0].span)
    return _Joiner(clauses, usual).join(found)


class _Finder:
    """Finds mentions, parts and other nouns."""

    def __init__(self, talk: Talk, clauses: Clauses, usual: dict[str, str]) -> None:
        self.talk = talk
        self.passage = talk.passage
        self.norm = talk.passage.norm
        self.clauses = clauses
        self.usual = usual
        self.figure_tokens = {i for f in talk.figures for i in range(f.span.start, f.span.end)}

    def things(self) -> Iterator[tuple[Thing, Part | None]]:
        """Every noun that names something, with what is known of it as a part."""
        phrases, parts = part_phrases()
        hits = {hit.span: hit.label for hit in phrases.find(self.passage)}
        starts = sorted(hits)
        taken: set[int] = set()
        shadowed: set[Span] = set()
        for number, mention in enumerate(self.talk.mentions):
            over = [
                s
                for s in starts[bisect_left(starts, Span(mention.span.start - 4, 0)) :][:6]
                if s.overlaps(mention.span)
            ]
            winning = [s for s in over if s.start <= mention.span.start and mention.span.end <= s.end]
            shadowed.update(s for s in over if s not in winning)
            if winning or self._is_no_component(mention):
                continue
            taken.update(range(mention.span.start, mention.span.end))
            yield self._from_mention(number, mention), None
        for span, label in hits.items():
            if (
                span in shadowed
                or self.norm(span.start - 1) in small_words("undone")
                or (span.start - 1 in self.figure_tokens and self.norm(span.start) in small_words("measure"))
                or not taken.isdisjoint(range(span.start, span.end))
            ):
                continue
            taken.update(range(span.start, span.end))
            part = parts[int(label)] if label.isdigit() else None
            yield (
                self._thing("" if part is not None else " ".join(self.passage.norms[span.start : span.end]), span),
                part,
            )
        for index, tag in enumerate(self.clauses.tags):
            norm = self.norm(index)
            if (
                tag in NOUN_TAGS
                and len(norm) > 2
                and norm.isalpha()
                and index not in taken
                and index not in self.figure_tokens
                and norm not in listed("pronouns")
                and norm not in state_words()
            ):
                yield replace(self._thing(norm, Span(index, index + 1)), known=False), None

    def _from_mention(self, number: int, mention: Mention) -> Thing:
        name, canon = self._component(number, mention), ""
        if name in subjects() and subjects()[name].noun:  # nouns stand in a report as they were said
            said = " ".join(self.passage.norms[mention.span.start : mention.span.end])
            fuller = said.endswith((f" {name}", f" {plural(name)}"))  # "blower belt" is a belt
            canon, name = name, name if fuller or said == plural(name) else said
        thing = self._thing(name, mention.span)
        return replace(
            thing, place=mention.place, open=mention.open, canon=canon, options=mention.options if mention.weak else ()
        )

    def _is_no_component(self, mention: Mention) -> bool:
        """Words of the vocabulary that name no component here: "drain the tank", "call it an hour", "my probe"."""
        words = self.passage.norms[mention.span.start : mention.span.end]
        before, after = self.norm(mention.span.start - 1), self.norm(mention.span.end)
        if len(words) == 1 and (
            (words[0] in small_words("noun_or_verb") and after in small_words("object_follows"))
            or before in small_words("undone")
        ):
            return True
        if mention.subject in ("run time", "travel", "labor") or words[0] in small_words("no_subject"):
            return True
        if set(words) & small_words("own_instrument") or (words == ("probe",) and before in ("my", "own")):
            return True
        if words in (("split",), ("oil",), ("screen",), ("heat",)):
            return True
        if words in (("plate",), ("foot",)) and mention.span.start - 1 in self.figure_tokens:
            return True
        return (
            (words == ("juice",) and before not in ("on", "of", "no"))
            or (words == ("voltage",) and before in ("a", "not"))
            or (words == ("line",) and before in ("long", "first", "bottom", "down"))
            or (words[-1] == "light" and before in ("my", "green", "red", "more", "a"))
        )

    def _component(self, number: int, mention: Mention) -> str:
        """The subject of a mention; a shared word that its sentence does not resolve, as the machine at hand has it."""
        word = self.norm(mention.span.start).removesuffix("s")
        usual = self.usual.get(word)
        alone = mention.span.end - mention.span.start == 1
        words = self._clause_words(mention.span.start)
        dirty, icy = bool(words & small_words("dirt_words")), bool(words & small_words("ice_words"))
        if alone and word == "coil" and mention.open and mention.subject == "evaporator" and dirty and not icy:
            return self.usual.get("dirty coil", "condenser")
        if alone and word == "gasket" and (usual or words & small_words("flange_words")):
            return "gasket"
        if alone and word in ("filter", "inlet"):
            return self._fuller_name(word, number, mention) or usual or mention.subject
        pair = self.passage.norms[mention.span.start : mention.span.end] == ("fan", "motor")
        if not mention.weak or usual is None or not (alone or pair):
            return mention.subject
        misled = (word == "valve" and mention.subject == "service valve") or (
            word == "motor" and mention.subject == "compressor"
        )
        return usual if mention.open or misled else mention.subject

    def _clause_words(self, token: int) -> frozenset[str]:
        span = self.clauses.at(token).span
        return frozenset(self.passage.norms[span.start : span.end])

    def _fuller_name(self, word: str, number: int, mention: Mention) -> str | None:
        """The component of a fuller name said shortly before: "the filter" after "the water filter"."""
        for index in range(number - 1, -1, -1):
            other = self.talk.mentions[index]
            if mention.span.start - other.span.end > 2 * FAR:
                break
            said = self.passage.norms[other.span.start : other.span.end]
            if len(said) > 1 and word in (said[0], said[-1].removesuffix("s")):
                return other.subject
        return None

    def _thing(self, component: str, span: Span) -> Thing:
        start, clause, tags = span.start, self.clauses.at(span.start), self.clauses.tags
        while start > clause.span.start:
            norm, tag = self.norm(start - 1), tags[start - 1]
            modifies = (
                tag in ("NN", "NNP", "VBN", "VBG") and norm not in BE and self._modifies(start - 1, clause.span.start)
            )
            if norm in small_words("determiner") or tag in MODIFIER_TAGS or modifies:
                start -= 1
            else:
                break
        before = self.norm(start - 1) if start > clause.span.start else ""
        prep = before if before in small_words("preposition") else ""
        said = self.passage.said(span).lower().replace("o ring", "o-ring")  # one thing, however it was written
        return Thing(component.replace("o ring", "o-ring"), span, span.end - 1, prep, None, start=start, said=said)

    def _modifies(self, index: int, clause_start: int) -> bool:
        """Whether a noun or participle before a noun belongs to its name: "torn gasket", "brewery pump"."""
        if self.norm(index) in small_words("preposition"):
            return False
        before = self.norm(index - 1) if index > clause_start else ""
        return (
            before in small_words("determiner")
            or before in small_words("preposition")
            or self.clauses.tags[index - 1][:2] in ("JJ", "DT")
        )


class _Joiner:
    """Joins neighbouring nouns to one name and files parts under their component."""

    def __init__(self, clauses: Clauses, usual: dict[str, str]) -> None:
        self.clauses = clauses
        self.norm = clauses.passage.norm
        self.usual = usual
        self.lately: list[Thing] = []

    def join(self, named: list[tuple[Thing, Part | None]]) -> list[Thing]:
        """The things with their final names."""
        found: list[Thing] = []
        for thing, part in named:
            owner = found[-1] if found and self._adjoins(found[-1], thing) else None
            joined = self._joined(thing, part, owner)
            if joined is None:
                continue
            if owner is not None and joined.span.start <= owner.span.start:
                found.pop()
            joined = self._resolved(joined, owner)
            found.append(joined)
            if joined.known:
                self.lately.append(joined)
        return self._inside(found)

    def _joined(self, thing: Thing, part: Part | None, owner: Thing | None) -> Thing | None:
        """A noun with the one before it: "pump seal", "the right fan's blade", "compressor amps"."""
        if part is not None:
            thing = replace(self._owned(thing, owner, part), part=part.alone)
            if not thing.component:
                return None
        if owner is None:
            return thing
        whole = Span(owner.span.start, thing.span.end)
        if part is None and owner.known:
            wired = owner.component in groups()["contact"] | groups()["valve"]
            if thing.said in small_words("edge") | small_words("hardware") or (
                wired and thing.said in ("coil", "coils", "motor", "wire", "lead")
            ):
                return replace(owner, span=whole, head=thing.head)
            if not thing.known and not is_abstract(self.norm(thing.head)):
                # "pump seal": no word of the vocabulary, so it is filed under the pump
                return replace(owner, span=whole, head=thing.head, said=f"{owner.said} {thing.said}")
            if not thing.known:  # "pump pressure": told of a figure, not of the pump
                return replace(thing, span=whole, start=owner.start, prep=owner.prep)
        return replace(
            thing,
            span=whole,
            start=min(owner.start, thing.start),
            prep=owner.prep or ("" if part else thing.prep),
            place=thing.place or owner.place,
        )

    def _resolved(self, thing: Thing, owner: Thing | None) -> Thing:
        """A short or shared word by what was named before it."""
        wired = groups()["contact"] | groups()["valve"]
        if thing.said in ("coil", "coils") and self._is_wound(thing, wired):
            thing = self._as(thing, next((t for t in self._near(thing) if t.component in wired), None))
        if thing.said == "motor" and owner is None:
            turning = groups()["fan"] | {"pump"}
            near = (t for t in self._near(thing) if t.component in turning or t.said.endswith("motor"))
            thing = self._as(thing, next(near, None))
        if thing.said in small_words("short_name") and owner is None:
            thing = self._as(thing, next((t for t in self._near(thing) if t.said.endswith(" " + thing.said)), None))
        if not thing.known:
            both = owner is not None and not owner.known and owner.span.end == thing.head
            if (
                owner is not None
                and both
                and not is_abstract(self.norm(thing.head))
                and not is_abstract(self.norm(owner.head))
            ):
                said = f"{owner.said} {thing.said}"
                thing = replace(thing, component=said, said=said)
            thing = replace(thing, named=self._is_named(thing))
        return thing

    def _as(self, thing: Thing, other: Thing | None) -> Thing:
        return thing if other is None else replace(thing, component=other.component, canon=other.canon, open=False)

    def _near(self, thing: Thing) -> Iterator[Thing]:
        """Things named before, the nearest first, not far back."""
        for other in reversed(self.lately):
            if thing.span.start - other.span.end > FAR:
                return
            yield other

    def _owned(self, thing: Thing, owner: Thing | None, part: Part) -> Thing:
        """A part, filed under the component named beside it or lately."""
        turns = owner is not None and (owner.component in part.of or not part.alone)
        if owner is not None and owner.known and turns and (owner.component in part.of or len(part.of) > 1):
            return replace(thing, component=owner.component, canon=owner.canon, open=owner.open)
        usual = self.usual.get(thing.said.removesuffix("s"))
        if usual in part.of:
            return replace(thing, component=usual, open=len(part.of) > 1, options=part.of)
        for other in self._near(thing):
            if other.component in part.of:
                return replace(thing, component=other.component, canon=other.canon)
        return replace(
            thing,
            component=thing.said if part.alone else part.of[0],
            canon=part.of[0] if part.alone else "",
            open=len(part.of) > 1 and not part.alone,
            options=part.of,
        )

    def _inside(self, found: list[Thing]) -> list[Thing]:
        """A noun that no contract word names, filed under the component it is in: "the bladder in the tank"."""
        done: list[Thing] = []
        for number, thing in enumerate(found):
            following = found[number + 1] if number + 1 < len(found) else None
            if (
                (thing.component in groups()["noun"] or thing.part)
                and following is not None
                and following.known
                and following.component not in groups()["noun"]
                and following.word not in figures_only()
                and following.prep in ("in", "of", "on")
                and following.start - 1 <= thing.span.end
            ):
                thing = replace(thing, component=following.component, canon=following.canon)
            done.append(thing)
        return done

    def _is_wound(self, thing: Thing, wired: frozenset[str]) -> bool:
        """Whether a coil is wound wire: by words around it, or because a valve or contactor was just named."""
        span = self.clauses.at(thing.span.start).span
        words = frozenset(self.norm(i) for i in range(span.start, span.end))
        if words & small_words("wound_words"):
            return True
        last = self.lately[-1] if self.lately else None
        just = last is not None and last.component in wired and thing.span.start - last.span.end <= NEXT
        exposed = words & (small_words("dirt_words") | small_words("ice_words")) or thing.prep in (
            "in",
            "through",
            "across",
            "over",
            "off",
        )
        return just and not exposed

    def _is_named(self, thing: Thing) -> bool:
        """Whether a noun outside the vocabulary may be a component: "the paddle", "its chain", "knob cracked"."""
        if is_abstract(self.norm(thing.head)) or len(thing.said) < 4:
            return False
        return (
            self.norm(thing.start) in small_words("pointing") or thing.start <= self.clauses.at(thing.span.start).first
        )

    def _adjoins(self, one: Thing, other: Thing) -> bool:
        """Whether two nouns are one name: side by side, or joined by 's as owner and part."""
        if self.clauses.at(one.span.start).index != self.clauses.at(other.span.start).index:
            return False
        gap = [self.norm(i) for i in range(one.span.end, min(other.span.start, one.span.end + 3))]
        return not gap or (gap in (["'s"], ["'"]) and other.start <= one.span.end + 1)


def is_abstract(word: str) -> bool:
    """Whether a noun is no component, however it stands."""
    return word in listed("abstract") or word.removesuffix("s") in listed("abstract")
