"""Parts used, to order and on hand, each with its number, how many and its rating as said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from extractors.facts import Action, ActionKind, ActionStatus, Part, PartStatus
from extractors.part_fits import by_rating, fitted
from extractors.part_nouns import is_part, parts_table
from extractors.part_numbers import count, number_all, rating, same_numbers
from extractors.part_orders import in_the_van, lacking, left_over, order, remaining, sections
from extractors.part_stock import stock
from extractors.part_talk import Draft, PartTalk
from extractors.passage import Passage
from extractors.registry import Extractor, Found
from extractors.talk import Talk
from extractors.things import groups

FRESH = frozenset({"new", "replaced", "changed", "swapped", "replacement", "replacing", "changing", "swapping"})
"""Words of a deed that leave no doubt that another part went in."""


def _restocked(drafts: list[Draft]) -> list[Draft]:
    """As in "Order me a heater for stock": of what a shared word may mean, the one that was used."""
    used = {d.noun.component for d in drafts if d.status is PartStatus.USED}
    out = []
    for draft in drafts:
        may = [c for c in draft.noun.may if c in used]
        if draft.status is PartStatus.TO_ORDER and draft.noun.component not in used and len(may) == 1:
            draft = replace(draft, noun=replace(draft.noun, component=may[0]))
        out.append(draft)
    return out


def _merged(drafts: list[Draft]) -> list[Draft]:
    """One draft for each part of a status; two numbers are two parts."""
    out: list[Draft] = []
    places: dict[tuple[str, PartStatus], list[int]] = {}
    for draft in sorted(drafts, key=lambda d: d.span):
        same = places.setdefault((draft.noun.component, draft.status), [])
        twin = next((i for i in same if _alike(out[i], draft)), None)
        if twin is None:
            same.append(len(out))
            out.append(draft)
            continue
        kept = out[twin]
        counted = (draft.noun.count or draft.noun.plural) and not (kept.noun.count or kept.count)
        out[twin] = replace(
            kept,
            noun=draft.noun if counted else kept.noun,
            count=kept.count or draft.count,
            number=kept.number or draft.number,
        )
    return out


def _alike(one: Draft, other: Draft) -> bool:
    return one.number is None or other.number is None or one.number.spelled.bare == other.number.spelled.bare


def find(talk: Talk, found: Found) -> tuple[Part, ...]:
    """All parts in the order of the telling, one entry for each part of a status."""
    parts = PartTalk(talk, found)
    sections(parts)
    order(parts)
    lacking(parts)
    ordered = {d.noun.head for d in parts.drafts}
    fitted(parts)
    parts.drafts = [
        d for d in parts.drafts if d.status is PartStatus.TO_ORDER or d.noun.head not in ordered or d.because != "new"
    ]
    by_rating(parts)
    in_the_van(parts)
    left_over(parts)
    remaining(parts)
    stock(parts)
    parts.drafts = _restocked(parts.drafts)
    number_all(parts)
    same_numbers(parts)
    made = [_part(parts, talk.passage, draft, f"p{number}") for number, draft in enumerate(_merged(parts.drafts), 1)]
    return (*made, *_by_deed(parts, found, made))


def _part(parts: PartTalk, passage: Passage, draft: Draft, name: str) -> Part:
    spelled: Any = draft.number.spelled if draft.number is not None else None
    return Part(
        id=name,
        description=draft.noun.text or draft.noun.component,
        component=draft.noun.component,
        part_number=spelled.text if spelled is not None else None,
        quantity=count(parts, draft),
        rating=rating(parts, draft),
        status=draft.status,
        evidence=passage.evidence(draft.span),
        confirm=spelled.confirm if spelled is not None else (),
        because=(draft.because,),
    )


def _by_deed(parts: PartTalk, found: Found, made: list[Part]) -> list[Part]:
    """Parts known only from a deed: something at fault was replaced, and no words of a part stand there."""
    taken = {part.component for part in made if part.status is PartStatus.USED}
    extra: list[Part] = []
    for action in found.facts.get("actions") or ():
        component = action.component
        replaced = action.action is ActionKind.REPLACED and action.status is ActionStatus.DONE
        fitted_part = is_part(component) or component in groups()["noun"]
        if not replaced or action.confirm or component in taken or not fitted_part:
            continue
        told_already = any(part.evidence.line == action.evidence.line and _shares(part, action) for part in made)
        outright = FRESH & set(action.evidence.quote.lower().split())
        if told_already or (
            component not in parts.troubled and (component in parts_table()["seldom"]["subjects"] or not outright)
        ):
            continue
        taken.add(component)
        extra.append(
            Part(
                id=f"p{len(made) + len(extra) + 1}",
                description=component,
                component=component,
                quantity=1,
                status=PartStatus.USED,
                evidence=action.evidence,
                because=("known from the deed alone",),
            )
        )
    return extra


def _shares(part: Part, action: Action) -> bool:
    """Whether a part and a deed were read from the same words."""
    one, other = part.evidence.quote, action.evidence.quote
    return one in other or other in one


EXTRACTOR = Extractor("parts", find, gives="parts", needs=("equipment", "findings", "actions"))
