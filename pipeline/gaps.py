"""What a complete report of this job needs and nobody said, asked as a person would, the most useful first."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from extractors.facts import Action, ActionKind, ActionStatus, Part, PartStatus, Quantity, Role, Stage
from pipeline.draft import Draft, Gap, Verdict

MOST = 7
MOST_PARTS = 2
REMEDIES = frozenset(
    [
        ActionKind.REPLACED,
        ActionKind.INSTALLED,
        ActionKind.REPAIRED,
        ActionKind.CLEANED,
        ActionKind.ADJUSTED,
        ActionKind.SET,
        ActionKind.CHARGED,
        ActionKind.REWIRED,
        ActionKind.DEFROSTED,
        ActionKind.TIGHTENED,
    ]
)


@cache
def _table() -> dict[str, Any]:
    with Path(__file__).with_name("gaps.toml").open("rb") as file:
        return tomllib.load(file)


def _gap(kind: str, field: str, key: str = "question", **words: str) -> Gap:
    """A gap with its question filled in."""
    row = _table()[kind]
    return Gap(field=field, question=row[key].format(**words), required=bool(row.get("required", False)))


def _machine(draft: Draft) -> str:
    """What the machine is called in a question."""
    return draft.equipment.type.value if draft.equipment.type else "machine"


def _done(draft: Draft) -> list[Action]:
    """Remedies that were carried out."""
    return [a for a in draft.actions if a.status is ActionStatus.DONE and a.action in REMEDIES]


def gaps(draft: Draft) -> tuple[Gap, ...]:
    """At most seven gaps, the most useful first; a draft in which nobody said anything about a machine has none."""
    if not (draft.readings or draft.findings or draft.actions or draft.parts):
        return ()
    found: list[Gap] = []
    for ask in (
        _complaint,
        _cause,
        _proof,
        _which,
        _parts,
        _model,
        _serial,
        _refrigerant,
        _customer,
        _make,
        _as_left,
        _lacking,
        _arrived,
    ):
        found += [gap for gap in ask(draft) if all(gap.field != other.field for other in found)]
    return tuple(found[:MOST])


def _complaint(draft: Draft) -> Iterator[Gap]:
    if draft.complaint is None:
        yield _gap("complaint", "complaint")


def _cause(draft: Draft) -> Iterator[Gap]:
    """Only where something was mended: an inspection has no cause."""
    if (draft.complaint or _done(draft)) and not draft.diagnosis.causes:
        yield _gap("cause", "cause", machine=_machine(draft))


def _proof(draft: Draft) -> Iterator[Gap]:
    if _done(draft) and not draft.diagnosis.proof:
        yield _gap("proof", "proof", machine=_machine(draft))


def _which(draft: Draft) -> Iterator[Gap]:
    """Left or right, where a part was changed and its kind was told at several places."""
    for action in _done(draft):
        if action.action is not ActionKind.REPLACED or action.place is not None:
            continue
        told = [*draft.readings, *draft.findings]
        places = [r.place for r in draft.readings if r.subject == action.component and r.place]
        places += [f.place for f in draft.findings if f.component == action.component and f.place]
        names = list(
            dict.fromkeys(
                p
                for p in places
                if p in ("left", "right", "upper", "lower", "top", "bottom", "middle", "front", "rear", "center")
            )
        )
        if (
            told
            and len(names) >= 2
            and any(word in action.text.lower() for word in ("the ", "a ", "that "))
            and not any(n in action.text.lower() for n in names)
        ):
            listed = f"{', '.join(names[:-1])} or {names[-1]}"
            yield _gap("which", f"which:{action.component}", subject=action.component, places=listed)
            return


def _small(part: Part) -> bool:
    small = _table()["small"]
    return part.component in small["parts"] or any(word in part.description.lower().split() for word in small["words"])


def _parts(draft: Draft) -> Iterator[Gap]:
    """Parts that went in without a number; one question for each kind of part."""
    numbered = {p.component for p in draft.parts if p.part_number}
    asked: set[str] = set()
    for part in draft.parts:
        if part.status is not PartStatus.USED or part.part_number or part.component in asked | numbered or _small(part):
            continue
        asked.add(part.component)
        name = part.description.lower().removeprefix("new ").strip()
        yield _gap("part", f"part:{part.component}", part=f"new {name}")
        if len(asked) == MOST_PARTS:
            return


def _model(draft: Draft) -> Iterator[Gap]:
    if draft.equipment.model is None:
        yield _gap("equipment.model", "equipment.model", machine=_machine(draft))


def _serial(draft: Draft) -> Iterator[Gap]:
    serial = draft.equipment.serial
    if serial is None:
        yield _gap("equipment.serial", "equipment.serial", machine=_machine(draft))
    elif any("missing" in reason for reason in serial.confirm):
        yield _gap("equipment.serial", "equipment.serial", "partial", value=serial.value)


def _refrigerant(draft: Draft) -> Iterator[Gap]:
    """Only where the sealed system was measured or opened."""
    table = _table()
    words = _machine(draft).lower()
    touched = any(r.subject in table["sealed"]["subjects"] for r in draft.readings) or any(
        a.action in table["sealed"]["actions"] for a in draft.actions
    )
    if (
        draft.equipment.refrigerant is None
        and touched
        and not any(words.endswith(w) for w in table["no_refrigerant"]["words"])
    ):
        yield _gap("equipment.refrigerant", "equipment.refrigerant", machine=_machine(draft))


def _as_left(draft: Draft) -> Iterator[Gap]:
    """A space that was too warm or too cold when found, and of which nobody said how it was left."""
    if not _done(draft):
        return
    for subject in _table()["proofs"]["temperature"]:
        stages = {
            r.stage
            for r in draft.readings
            if r.subject == subject and r.quantity is Quantity.TEMPERATURE and r.role is Role.MEASURED
        }
        if Stage.AS_FOUND in stages and Stage.AS_LEFT not in stages:
            yield _gap("as_left", f"as_left:{subject}:temperature", subject=subject, quantity="temperature")
            return


def _lacking(draft: Draft) -> Iterator[Gap]:
    """A comparison that only lacked one thing, of a part that this job changed or found at fault."""
    lacking = _table()["lacking"]
    concerned = {a.component for a in _done(draft)} | {
        f.component for f in draft.findings if f.condition not in ("normal", "running")
    }
    replaced = {a.component for a in _done(draft) if a.action is ActionKind.REPLACED}
    for check in draft.checks:
        if check.verdict is not Verdict.NO_REFERENCE or check.rule not in lacking:
            continue
        quantity, role = lacking[check.rule]
        subjects = [r.subject for r in draft.readings if r.id in check.readings]
        for subject in subjects[:1]:
            if subject in concerned or subject == "refrigerant charge":
                # The old one's marking was said; to ask for "the rated" figure again would puzzle whoever said it.
                known = role == Role.RATED and any(
                    r.subject == subject and r.quantity == quantity and r.role is Role.RATED for r in draft.readings
                )
                yield _gap(
                    "reading",
                    f"reading:{subject}:{quantity}:{role}",
                    "rated_new" if known and subject in replaced else role,
                    subject=subject,
                    quantity=quantity.replace("_", " "),
                )


def _customer(draft: Draft) -> Iterator[Gap]:
    if draft.visit.customer is not None:
        return
    site = draft.visit.site.value if draft.visit.site else ""
    if site and not any(ch.isdigit() for ch in site):
        yield _gap("visit.customer", "visit.customer", "house", house=site)
    else:
        yield _gap("visit.customer", "visit.customer")


def _make(draft: Draft) -> Iterator[Gap]:
    if draft.equipment.make is None:
        yield _gap("equipment.make", "equipment.make", machine=_machine(draft))


def _arrived(draft: Draft) -> Iterator[Gap]:
    if draft.visit.arrived is None:
        yield _gap("visit.arrived", "visit.arrived")
