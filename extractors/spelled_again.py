"""What is said about a spelled string right after it: once more, corrected, in further groups, partly unreadable."""

from __future__ import annotations

from functools import cache

from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.spelling import Spelled, bare_piece, spell
from extractors.units import units

AGAIN = 26  # tokens within which a string is said once more
SHORT = 3  # digits that are hardly a whole serial or model


@cache
def _unit_words() -> frozenset[str]:
    return frozenset(word for unit in units().values() for word in unit.say)


def settled(passage: Passage, first: Spelled, stops: frozenset[int] = frozenset()) -> Spelled:
    """The string with what is said about it right after: said once more, corrected, or partly unreadable.

    Said twice alike it needs no confirming; said again otherwise the last one stands and is asked again.
    """
    first = _grouped(passage, first, stops)
    best, index = first, first.span.end
    last = min(len(passage.tokens), first.span.end + AGAIN)
    while index < last:
        if index in stops or not (
            bare_piece(passage, index) or passage.tokens[index].text.isupper() or passage.tokens[index].is_digits
        ):
            index += 1
            continue
        again = spell(passage, index, stops)
        if again is None or len(again.bare) < 3:
            index += 1
            continue
        if again.bare == best.bare:
            text = again.text if len(again.text) > len(best.text) else best.text
            best = Spelled(first.span, text, (), (*best.again, again.span))
        elif len(again.bare) >= 4 and _same_start(best.bare, again.bare):
            reason = ("corrected twice",) if best is not first else ()
            best = Spelled(first.span, again.text, (*again.confirm, *reason), (*best.again, again.span))
        elif len(best.bare) > len(again.bare) >= 3 and best.bare.startswith(again.bare):
            best = Spelled(first.span, best.text, best.confirm, (*best.again, again.span))
        else:
            index += 1
            continue
        index = again.span.end
    return _with_doubt(passage, best)


def _grouped(passage: Passage, first: Spelled, stops: frozenset[int]) -> Spelled:
    """Groups of digits with commas between, "220, 220, 79", are one number, and asked: one may be a repeat."""
    groups = [first]
    while groups[-1].bare.isdigit() and len(groups[-1].bare) <= 4 and passage.norm(groups[-1].span.end) == ",":
        more = spell(passage, groups[-1].span.end + 1, stops)
        if more is None or not more.bare.isdigit() or len(more.bare) > 4 or more.span.start != groups[-1].span.end + 1:
            break
        if passage.norm(more.span.end) in _unit_words():
            break
        groups.append(more)
    if len(groups) < (2 if len(first.bare) <= SHORT else 3):
        return first
    text = "".join(group.text for group in groups)
    doubt = f"heard in groups: {', '.join(group.text for group in groups)}"
    span = Span(first.span.start, groups[-1].span.end)
    return Spelled(span, text, (*first.confirm, doubt), pieces=sum(group.pieces for group in groups))


def _same_start(one: str, other: str) -> bool:
    """Whether two strings begin alike in most of the shorter one."""
    size = min(len(one), len(other))
    same = next((i for i in range(size) if one[i] != other[i]), size)
    return same >= max(3, 0.6 * size) and abs(len(one) - len(other)) <= 3


def _with_doubt(passage: Passage, spelled: Spelled) -> Spelled:
    """Adds that a part could not be read, or that the speaker was not sure, from the words around the string."""
    around = " " + " ".join(passage.norms[max(0, spelled.span.start - 6) : spelled.span.start]) + " | "
    end = spelled.spans[-1].end
    sentence = passage.tokens[end - 1].sentence
    after = []
    for token in passage.tokens[end : end + 12]:
        if token.sentence != sentence:
            break
        after.append(token.norm)
    text = f"{around}{' '.join(after)} "
    confirm = list(spelled.confirm)
    if any(f" {phrase} " in text for phrase in load_table("spelling")["unread"]["say"]):
        confirm.append("low confidence: part of it may be missing")
    if " not sure " in text or " pretty sure " in text or " not a " in text:
        confirm.append("speaker not sure")
    return Spelled(spelled.span, spelled.text, tuple(dict.fromkeys(confirm)), spelled.again)
