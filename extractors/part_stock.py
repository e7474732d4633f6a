"""Parts that lie ready and were not used: spares, what is left, what is in the van or on the customer's shelf."""

from __future__ import annotations

from extractors.facts import PartStatus
from extractors.part_nouns import PartNoun, number_at, parts_table
from extractors.part_talk import PartTalk
from extractors.passage import Span

NEAR = 9  # tokens between a part and where it lies
LEFT_NEAR = 5  # tokens between how many and "left"


def stock(told: PartTalk) -> None:
    """Spares and what is left, and what lies in store of a kind that was not used in the job."""
    used = {d.noun.component for d in told.drafts if d.status is PartStatus.USED}
    for noun in told.nouns:
        because = _spare(told, noun) or _stored(told, noun, used)
        if because and not _moved(told, noun):
            told.add(noun, PartStatus.ON_HAND, noun.span, because)
    _left(told)


def _words(told: PartTalk, start: int, end: int) -> set[str]:
    return set(told.passage.norms[max(0, start) : max(0, end)])


def _moved(told: PartTalk, noun: PartNoun) -> bool:
    """Whether the sentence says that it went in, or is to be ordered."""
    sentence = told.passage.sentence_span(noun.head.start)
    if any(d.noun.head == noun.head and d.status is not PartStatus.USED for d in told.drafts):
        return True
    words = _words(told, noun.head.end, min(sentence.end, noun.head.end + 16))
    denied = {"not", "didn't", "wasn't", "haven't"} & words
    went = words & set(parts_table()["stock"]["went"]) or _words(told, noun.span.start - 4, noun.span.start) & set(
        parts_table()["stock"]["went_before"]
    )
    return bool(went) and not denied


def _spare(told: PartTalk, noun: PartNoun) -> str:
    """As in "one spare igniter remains on the shelf", "10 spare nozzles"."""
    before = _words(told, noun.span.start - 2, noun.head.start)
    return "a spare" if before & set(parts_table()["stock"]["spare"]) else ""


def _stored(told: PartTalk, noun: PartNoun, used: set[str]) -> str:
    """As in "on the van we have one drum belt", "they have two filters on the shelf"."""
    sentence = told.passage.sentence_span(noun.head.start)
    article = told.passage.norm(noun.span.start - 1)
    if noun.led or noun.old or not (noun.count or article in ("a", "an", "another", "more")):
        return ""
    if noun.component in used or not _words(told, noun.span.start - 6, noun.span.start) & set(
        parts_table()["stock"]["have"]
    ):
        return ""
    for hit in told.between("store", sentence.start, sentence.end):
        if 0 <= hit.span.start - noun.head.end <= NEAR or 0 <= noun.span.start - hit.span.end <= NEAR:
            return f"“{told.passage.said(hit.span)}”"
    return ""


def _left(told: PartTalk) -> None:
    """As in "12 filters used, and there's 12 left on their shelf", "1 used, 2 left in the closet"."""
    passage = told.passage
    for index in range(1, len(passage.tokens)):
        if passage.norm(index) not in parts_table()["stock"]["left"]:
            continue
        sentence = passage.sentence_span(index)
        begin = max(sentence.start, index - LEFT_NEAR)
        stored = told.between("store", index, min(sentence.end, index + LEFT_NEAR))
        counts = [i for i in range(begin, index) if number_at(passage, i) is not None and i not in told.used]
        used = "used" in _words(told, sentence.start, index)
        if not counts or not (stored or used):
            continue
        inside = [n for n in told.inside(sentence.start, index) if not n.led]
        noun = inside[-1] if inside else told.before(counts[-1])
        if noun is not None and not any(
            d.status is PartStatus.ON_HAND and d.noun.component == noun.component for d in told.drafts
        ):
            span = Span(counts[-1], index + 1)
            told.add(noun, PartStatus.ON_HAND, span, "“left” over", number_at(passage, counts[-1]))
