"""What a clause speaks of: the things that it names, and what "it" or nothing at all stands for."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection

from extractors.clauses import Clause, Clauses
from extractors.grammar import small_words
from extractors.naming import FAR, is_abstract, name_things
from extractors.talk import Talk
from extractors.things import Thing, listed, usual_words

REACH = 14  # clauses back to which "it" may point
TOPIC = 4  # clauses back to a sentence that only names a thing
NAME_ALONE = 7  # tokens of such a sentence
WHOLE = ("unit", "system")


class Components:
    """Things by clause, and what a pronoun or a clause without a subject speaks of."""

    def __init__(self, talk: Talk, clauses: Clauses) -> None:
        """Linear in the talk."""
        self.passage = talk.passage
        self.clauses = clauses
        self._usual = usual_words(talk.passage)
        self._places = talk.places
        self._place_starts = [p.span.start for p in talk.places]
        self.things: list[Thing] = name_things(talk, clauses, self._usual)
        self._starts = [t.span.start for t in self.things]

    def of(self, clause: Clause) -> list[Thing]:
        """The things that a clause names, in order."""
        return self.between(clause.span.start, clause.span.end)

    def between(self, start: int, end: int) -> list[Thing]:
        """The things named between two tokens, in order."""
        return self.things[bisect_left(self._starts, start) : bisect_left(self._starts, end)]

    def before(
        self,
        token: int,
        clause: Clause,
        fits: Collection[str] | None,
        *,
        hardware: bool = False,
    ) -> Thing | None:
        """What a clause that names nothing speaks of: the nearest thing before a token that fits.

        Nouns that no table knows are never meant: too many are dirt, food or cleaner. `hardware`: bolts and clips are.
        Of one clause the thing that is no mere place ("on the roof") comes first, the whole machine last.
        """
        whole: Thing | None = None
        for index in range(clause.index - 1, max(-1, clause.index - 1 - REACH), -1):
            earlier = self.clauses.clauses[index]
            if token - earlier.span.end > FAR:
                break
            for thing in self._ordered(earlier, clause, fits, hardware):
                if thing.component in WHOLE:
                    if thing.prep:
                        continue
                    whole = whole or (thing if fits is None or thing.component in fits else None)
                elif fits is None or thing.word in fits:
                    return whole if whole is not None and fits is None else thing
        return whole

    def _ordered(self, earlier: Clause, clause: Clause, fits: Collection[str] | None, hardware: bool) -> list[Thing]:
        """The things of an earlier clause, the likeliest antecedent first."""
        if earlier.sentence == clause.sentence:
            head = self._heading(earlier, fits)
            if head is not None:
                return [head]
        things = [t for t in self.of(earlier) if t.known and (hardware or t.said not in small_words("hardware"))]
        heads = [t for t in things if not t.prep]
        if any(self.passage.norm(i) in ("i", "we") for i in range(earlier.span.start, earlier.span.end)):
            heads.reverse()  # "while the pump ran I looked at the belts": what I did it to
        return heads + [t for t in things if t.prep]

    def _heading(self, clause: Clause, fits: Collection[str] | None) -> Thing | None:
        """The thing that heads the sentence ("door heaters, the three of them, ..."), where it fits."""
        index = clause.index
        while index > 0 and self.clauses.clauses[index - 1].sentence == clause.sentence:
            index -= 1
        head = self.clauses.clauses[index]
        first = next((t for t in self.of(head) if t.known and not t.prep), None)
        if first is None or first.start > head.first or (fits is not None and first.component not in fits):
            return None
        tags = self.clauses.tags[head.first : head.span.end]
        return None if any(tag.startswith("VB") for tag in tags) else first

    def header(self, clause: Clause) -> Thing | None:
        """The thing that heads what a clause says: "gasket on the left, hard as wood".

        A name alone right before the clause, at the head of its sentence, or as a sentence of its own
        before it: "Fan bearing. Seized."
        """
        index = clause.index - 1
        while index >= 0 and self.clauses.clauses[index].sentence == clause.sentence:
            thing = self._name_alone(self.clauses.clauses[index])
            if thing is not None:
                return thing
            if self._has_verb(self.clauses.clauses[index]) or self._names(self.clauses.clauses[index]):
                break
            index -= 1
        thing = self._heading(clause, None)
        if thing is not None and thing.span.end <= clause.span.start:
            return thing
        if index >= 0 and self.clauses.clauses[index].sentence == clause.sentence:
            return None
        for earlier in reversed(self.clauses.clauses[max(0, index + 1 - TOPIC) : index + 1]):
            thing = self._name_alone(earlier)
            if thing is not None:
                sentence = self.passage.sentence_span(thing.head)
                return thing if sentence.end - sentence.start <= NAME_ALONE else None
            if self._has_verb(earlier) or self._names(earlier):
                return None
        return None

    def _name_alone(self, clause: Clause) -> Thing | None:
        """The thing of a clause that is nothing but its name."""
        first = next((t for t in self.of(clause) if t.known and not t.prep), None)
        if first is None or first.start > clause.first or self._has_verb(clause):
            return None
        return first

    def _has_verb(self, clause: Clause) -> bool:
        return any(tag.startswith("VB") or tag == "MD" for tag in self.clauses.tags[clause.first : clause.span.end])

    def _names(self, clause: Clause) -> bool:
        return any(t.known and not t.prep for t in self.of(clause))

    def machine_word(self, word: str) -> str | None:
        """What a word usually means on the machine at hand."""
        return self._usual.get(word)

    def place_alone(self, start: int, end: int) -> str | None:
        """A place word between two tokens that stands for the thing itself: "the left one", "bottom"."""
        position = bisect_left(self._place_starts, start)
        if position < len(self._places) and self._places[position].span.end <= end:
            return self._places[position].said
        return None

    def is_pronoun(self, token: int) -> bool:
        """Whether a word stands for a thing named before."""
        return self.passage.norm(token) in listed("pronouns")

    def is_abstract(self, thing: Thing) -> bool:
        """Whether a noun that is no word of the vocabulary is no component either."""
        return not thing.known and is_abstract(self.passage.norm(thing.head))
