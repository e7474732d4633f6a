"""The machine of the job: type, make, model, serial, refrigerant, location."""

from __future__ import annotations

from extractors.facts import Equipment, Said
from extractors.identifiers import MODEL, SERIAL, Identifier, identifiers
from extractors.locations import location, sites
from extractors.machines import Surroundings, machines, main_machine
from extractors.makers import maker
from extractors.passage import Passage, Span
from extractors.refrigerants import chosen, refrigerants
from extractors.registry import Extractor, Found
from extractors.talk import Talk

UNSURE = 0.5  # probability of a word below which a name is asked again


def said(
    passage: Passage, value: str, span: Span, confirm: tuple[str, ...] = (), because: tuple[str, ...] = ()
) -> Said:
    """A field with its evidence; asked again where a word of it was heard badly."""
    lowest = passage.probability(span)
    if lowest is not None and lowest < UNSURE and not any(reason.startswith("low confidence") for reason in confirm):
        confirm = (*confirm, "low confidence")
    return Said(value=value, evidence=passage.evidence(span), confirm=confirm, because=tuple(b for b in because if b))


def _number(passage: Passage, one: Identifier) -> Said:
    return said(passage, one.spelled.text, one.span, one.spelled.confirm, (one.because,))


def _gas(talk: Talk, found: Found) -> tuple[Said | None, frozenset[int]]:
    """The refrigerant, and the tokens at which one is named."""
    gases = refrigerants(talk.passage)
    for gas in gases:
        found.used[gas.span] = "equipment.refrigerant"
    best = chosen(gases)
    stops = frozenset(gas.span.start for gas in gases)
    if best is None:
        return None, stops
    first, value, confirm = best
    return said(talk.passage, value, first.span, confirm, (first.because,)), stops


def _others(passage: Passage, numbers: list[Identifier]) -> tuple[Equipment, ...]:
    """Further machines that have a model or a serial of their own, in order."""
    found: list[Equipment] = []
    seen = {numbers_of.spelled.bare for numbers_of in _firsts(numbers)}
    for one in numbers:
        if one.kind not in (MODEL, SERIAL) or not one.announced or one.spelled.bare in seen:
            continue
        seen.add(one.spelled.bare)
        field = one.kind.removeprefix("equipment.")
        if found and getattr(found[-1], field) is None and field == "serial":
            found[-1] = found[-1].model_copy(update={field: _number(passage, one)})
        else:
            found.append(Equipment.model_validate({field: _number(passage, one)}))
    return tuple(found)


def _firsts(numbers: list[Identifier]) -> list[Identifier]:
    return [
        next(n for n in numbers if n.kind == kind) for kind in (MODEL, SERIAL) if any(n.kind == kind for n in numbers)
    ]


def find(talk: Talk, found: Found) -> tuple[Equipment, tuple[Equipment, ...]]:
    """The machine, and further machines of the same job. Marks the words of all numbers and refrigerants as used."""
    passage = talk.passage
    gas, stops = _gas(talk, found)
    numbers = identifiers(talk, stops)
    for one in numbers:
        for span in one.spelled.spans:
            found.used[span] = one.kind
    fields: dict[str, Said] = {one.kind.removeprefix("equipment."): _number(passage, one) for one in _firsts(numbers)}
    near = Surroundings(passage)
    machine = main_machine(passage, near, machines(passage, near))
    place = location(sites(passage, near, machine))
    made_by = maker(passage, tuple(one.span.start for one in _firsts(numbers) if one.kind == MODEL))
    if gas is not None:
        fields["refrigerant"] = gas
    if machine is not None:
        confirm = ("heard differently: " + passage.said(machine.span),) if machine.misheard else ()
        fields["type"] = said(passage, machine.type, machine.span, confirm, (machine.because,))
    if place is not None:
        fields["location"] = said(passage, place.said, place.span)
    if made_by is not None:
        fields["make"] = said(passage, made_by.name, made_by.span, made_by.confirm, (made_by.because,))
    return Equipment.model_validate(fields), _others(passage, numbers)


EXTRACTOR = Extractor("equipment", find, gives="equipment")
