"""Parts that are to be ordered, and those that lie in the van."""

from __future__ import annotations

from extractors.facts import PartStatus
from extractors.part_nouns import number_at, parts_table
from extractors.part_talk import PartTalk
from extractors.passage import Span
from extractors.phrases import Hit

LIST = 70  # tokens over which a list that is to be ordered goes on
SECTION = 8  # sentences under one heading


def order(told: PartTalk) -> None:
    """What stands after "order", in a list or alone, or what "it" stands for."""
    weak = set(parts_table()["order"]["weak"])
    done = -1
    for hit in told.hits.get("order", []):
        if hit.span.start < done or told.no_order(hit.span):
            continue
        end = max(h.span.end for h in told.between("order", hit.span.start, hit.span.start + 3))
        said = told.passage.said(Span(hit.span.start, end)).lower()
        done = max(end, _ordered(told, hit, end, said, said in weak))
    for hit in told.hits.get("order_after", []):
        noun = told.before(hit.span.start, plain=False)
        if (
            noun is None
            or hit.span.start - noun.head.end > 8
            or told.passage.tokens[noun.head.start].sentence != told.passage.tokens[hit.span.start].sentence
        ):
            continue
        said = told.passage.said(hit.span).lower()
        if said.startswith("for") or said.startswith("on the shelf") or told.no_order(hit.span):
            continue  # only where "order" stands before it
        told.add(noun, PartStatus.TO_ORDER, Span(noun.span.start, hit.span.end), said)


def _ordered(told: PartTalk, hit: Hit, end: int, said: str, weak: bool) -> int:
    """Files what an order cue leads to; returns the token up to which it reached."""
    passage = told.passage
    start = hit.span.start
    if (
        end < len(passage.tokens)
        and not told.one_line(start, end)
        and passage.norm(end - 1) not in (",", ":", ".")
        and not _alone(told, start, end)
    ):
        return end
    ends_line = end >= len(passage.tokens) or passage.tokens[end].segment != passage.tokens[end - 1].segment
    closed = passage.norm(end) in (".", ",", ":") or ends_line
    before = number_at(passage, start - 1) if start else None
    if "to order" in said and (before is not None or told.between("same", start - 6, start)):
        noun = told.before(start, plain=False)  # "same part, 1 to order"
        if noun is not None:
            told.add(noun, PartStatus.TO_ORDER, Span(start - (before is not None), end), f"“{said}” after it", before)
        return end
    count = _pronoun_count(told, end)
    if count is None and said == "order" and closed and _alone(told, start, end):
        noun = told.before(start)  # "door seal. order."
        if noun is not None and start - noun.head.end <= 2:
            count = 0
    if count is not None:
        noun = told.before(start)
        if noun is not None:
            last = min(end + 1, len(passage.tokens))
            told.add(noun, PartStatus.TO_ORDER, Span(start, last), f"“{said}” and what it stands for", count or None)
            _listed(told, last, min(told.sentence_end(start) + 1, last + 2), said)
            return end
    limit = told.sentence_end(start)
    if passage.norm(end) == "." or (limit - end <= 1 and closed):
        limit = max(limit, told.sentence_end(min(limit, len(passage.tokens) - 1)))
    limit = min(limit, end + LIST)
    last = end
    for noun in told.inside(end, limit):
        gap = [passage.norm(i) for i in range(last, noun.span.start) if i not in told.used]
        direct = last == end and noun.span.start - end <= 1
        if (noun.led and not direct) or len(gap) > (4 if weak and last == end else 12):
            continue
        if last == end and weak and any(w in ("to", "back", "the", "that", "this", "it") for w in gap):
            break
        if last > end and any(w in (".", "i", "he", "she", "told", "because", "so", "but") for w in gap) and not closed:
            break
        told.add(noun, PartStatus.TO_ORDER, Span(min(start, noun.span.start), noun.head.end), f"“{said}” before it")
        last = noun.head.end
    return max(last, end)


def _alone(told: PartTalk, start: int, end: int) -> bool:
    """Whether a stretch is a sentence of its own."""
    sentence = told.passage.sentence_span(start)
    return start - sentence.start <= 1 and sentence.end - end <= 1


def _listed(told: PartTalk, start: int, end: int, said: str) -> None:
    """Counted nouns and nothing else in the sentence after "I'll order that": "so one gauge and one end cap"."""
    for at in range(start, min(end, len(told.passage.tokens))):
        sentence = told.passage.sentence_span(at)
        nouns = [n for n in told.inside(sentence.start, sentence.end) if n.count]
        if sentence.start >= start and nouns and nouns[-1].head.end - sentence.start <= 5 * len(nouns) + 3:
            for noun in nouns:
                told.add(noun, PartStatus.TO_ORDER, noun.span, f"“{said}” in the sentence before")
            return


def _pronoun_count(told: PartTalk, index: int) -> int | None:
    """As in "one", "it", "4", "one of those" right after a cue: how many, zero where not said; None for a noun."""
    passage = told.passage
    norm, after = passage.norm(index), passage.norm(index + 1)
    if norm == "a" and after in ("pair", "couple", "set"):
        return 0 if after == "set" else 2
    if norm in ("it", "them", "those", "that"):
        return (
            0
            if after in ("", ".", ",", "and", "so", "in", "from", "today", "for", "i", "g") or len(after) == 1
            else None
        )
    number = number_at(passage, index)
    if number is None:
        return None
    if after == "more" and told.inside(index + 2, index + 7):
        return None
    if (
        after in ("", ".", ",", "of", "and", "for", "i", "it's", "it", "so", "in", "more")
        or passage.tokens[min(index + 1, len(passage.tokens) - 1)].segment != passage.tokens[index].segment
    ):
        return None if after == "of" and passage.norm(index + 2) not in ("those", "them", "these") else number
    return None


def in_the_van(told: PartTalk) -> None:
    """What is left or lies ready: "I have two more in the van"."""
    strong = set(parts_table()["on_hand"]["strong"])
    for hit in told.hits.get("on_hand", []):
        if told.passage.said(hit.span).lower() not in strong:
            continue
        sentence = told.passage.sentence_span(hit.span.start)
        nouns = [n for n in told.inside(sentence.start, sentence.end) if abs(n.head.start - hit.span.start) <= 14]
        if nouns:
            told.add(
                nouns[0],
                PartStatus.ON_HAND,
                Span(min(hit.span.start, nouns[0].span.start), max(hit.span.end, nouns[0].head.end)),
                f"“{told.passage.said(hit.span)}”",
            )


def sections(told: PartTalk) -> None:
    """As in "Parts used." or "To order:" alone, and a list under it, each sentence with a part or a number."""
    table = parts_table()["heading"]
    total = len(told.passage.tokens)
    index = 0
    while index < total:
        sentence = told.passage.sentence_span(index)
        index = sentence.end
        words = " ".join(n for n in told.passage.norms[sentence.start : sentence.end] if n not in table["fillers"])
        status = next((s for s in PartStatus if words and words in table[s.value]), None)
        if status is None:
            continue
        start = sentence.end
        for _ in range(SECTION):
            if start >= total:
                break
            line = told.passage.sentence_span(start)
            nouns = [n for n in told.inside(line.start, line.end) if not n.led]
            numbered = any(line.start <= one.span.start < line.end for one in told.numbers)
            verbs = told.between("fit_before", line.start, line.end) if status is not PartStatus.USED else []
            if not (nouns or numbered) or line.end - line.start > 30 or verbs:
                break
            told.sections.append((line, status))
            for noun in nouns[:1] if not any(n.count for n in nouns[1:]) else nouns:
                told.add(noun, status, noun.span, f"under “{words}”")
            start = line.end


def left_over(told: PartTalk) -> None:
    """As in "one more of these motors in the van" and "used one, so there's one left": what was not used."""
    passage = told.passage
    for index in range(1, len(passage.tokens)):
        norm = passage.norm(index)
        count = number_at(passage, index - 1)
        if norm not in ("more", "left") or count is None or passage.norm(index - 2) in ("the", "that", "this", "on"):
            continue
        sentence = passage.sentence_span(index)
        stored = told.between("store", sentence.start, sentence.end)
        if norm == "more":
            nouns = told.inside(index + 1, min(sentence.end, index + 7))
            if nouns and any(0 <= h.span.start - nouns[0].head.end <= 5 for h in stored):
                told.add(nouns[0], PartStatus.ON_HAND, Span(index - 1, nouns[0].head.end), "“more” in store", count)
        elif stored or {"had", "used"} <= set(passage.norms[sentence.start : index]):
            noun = told.before(index - 1)
            if noun is not None:
                told.add(noun, PartStatus.ON_HAND, Span(index - 1, index + 1), "“left” over", count)


def lacking(told: PartTalk) -> None:
    """As in "I don't carry those, the number is ...": what was not there, where a number was said of it."""
    for hit in told.hits.get("lacking", []):
        sentence = told.passage.sentence_span(hit.span.start)
        end = told.sentence_end(min(sentence.end, len(told.passage.tokens) - 1))
        numbered = any(sentence.start - 12 <= one.span.start < end for one in told.numbers)
        following = told.inside(hit.span.end, hit.span.end + 2)
        noun = following[0] if following else told.before(hit.span.start)
        if numbered and noun is not None and hit.span.start - noun.head.end <= 20:
            told.add(noun, PartStatus.TO_ORDER, hit.span, f"“{told.passage.said(hit.span)}”")


def remaining(told: PartTalk) -> None:
    """As in "that leaves one in the van": in store after one of the kind was used."""
    passage = told.passage
    for hit in told.hits.get("store", []):
        sentence = passage.sentence_span(hit.span.start)
        start = max(sentence.start, hit.span.start - 8)
        counted = [i for i in range(start, hit.span.start) if number_at(passage, i) is not None]
        if not counted or {"got", "took", "used", "put", "off", "from"} & set(
            passage.norms[counted[0] : hit.span.start]
        ):
            continue
        inside = told.inside(start, hit.span.start)
        noun = inside[0] if inside else told.before(start)
        if noun is None or not any(
            d.status is PartStatus.USED and d.noun.component == noun.component and d.span.start < start
            for d in told.drafts
        ):
            continue
        told.add(
            noun,
            PartStatus.ON_HAND,
            Span(counted[0], hit.span.end),
            "in store after use",
            number_at(passage, counted[0]),
        )
