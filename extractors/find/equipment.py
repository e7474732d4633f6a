"""The machine of the job: type, make, model, serial, refrigerant, location."""

from __future__ import annotations

from extractors.facts import Equipment, Said
from extractors.identifiers import MODEL, PART, SERIAL, Identifier, identifiers
from extractors.passage import Passage, Span
from extractors.refrigerants import chosen, refrigerants
from extractors.registry import Extractor, Found
from extractors.talk import Talk

UNSURE = 0.5  # probability of a word below which a name is asked again


def said(passage: Passage, value: str, span: Span, confirm: tuple[str, ...] = (), because: tuple[str, ...] = ()) -> Said:
    """A field with its evidence; asked again where a word of it was heard badly."""
    lowest = passage.probability(span)
    if lowest is not None and lowest < UNSURE and not any(reason.startswith("low confidence") for reason in confirm):
        confirm = (*confirm, "low confidence")
    return Said(value=value, evidence=passage.evidence(span), confirm=confirm, because=because)


def _number(passage: Passage, one: Identifier) -> Said:
    return said(passage, one.spelled.text, one.span, one.spelled.confirm, (one.because,))


def find(talk: Talk, found: Found) -> tuple[Equipment, tuple[Equipment, ...]]:
    """The machine, and further machines of the same job. Marks the words of all numbers and refrigerants as used."""
    passage = talk.passage
    gases = refrigerants(passage)
    stops = frozenset(gas.span.start for gas in gases)
    numbers = identifiers(talk, stops)
    for gas in gases:
        found.used[gas.span] = "equipment.refrigerant"
    for one in numbers:
        for span in one.spelled.spans:
            found.used[span] = one.kind
    gas_said = None
    gas_chosen = chosen(gases)
    if gas_chosen is not None:
        first, value, confirm = gas_chosen
        gas_said = said(passage, value, first.span, confirm, (first.because,))
    models = [one for one in numbers if one.kind == MODEL]
    serials = [one for one in numbers if one.kind == SERIAL]
    machine = Equipment(
        model=_number(passage, models[0]) if models else None,
        serial=_number(passage, serials[0]) if serials else None,
        refrigerant=gas_said,
    )
    return machine, ()


EXTRACTOR = Extractor("equipment", find, gives="equipment")
__all__ = ["EXTRACTOR", "PART", "find", "said"]
