"""Words in, facts out: no files written, no audio, network, clock or globals."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from extractors.facts import Facts, Transcript
    from extractors.passage import Span
    from extractors.talk import Talk


def identified(talk: Talk) -> dict[Span, str]:
    """Spans of figures that are part of a name or number of the machine."""
    from extractors.registry import Found, discover

    found = Found()
    for extractor in discover():
        if extractor.gives == "equipment":
            extractor.find(talk, found)
    return found.used


def find_facts(transcript: Transcript) -> Facts:
    """All facts of one job's transcript. Raises for nothing that was said; an extractor that fails is in `faults`."""
    from extractors.facts import Facts
    from extractors.heard_as import asked, understood
    from extractors.passage import make_passage
    from extractors.registry import Found, discover
    from extractors.talk import Talk

    talk = Talk(understood(make_passage(transcript)))
    found = Found()
    for extractor in discover():
        try:
            found.facts[extractor.gives] = extractor.find(talk, found)
        except Exception as fault:
            found.faults.append(f"The extractor {extractor.name} failed ({type(fault).__name__}: {fault}).")
    values: dict[str, Any] = dict(found.facts)
    if "readings" in values:
        values["readings"], values["unplaced"] = values["readings"]
    if "equipment" in values:
        values["equipment"], values["other_equipment"] = values["equipment"]
    for name in ("findings", "actions", "parts") if talk.passage.taken else ():
        values[name] = tuple(asked(fact, talk.passage) for fact in values.get(name, ()))
    return Facts(**values, faults=tuple(found.faults))
