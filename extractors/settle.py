"""Settles readings among each other: corrected, refined, said twice, three legs, two capacitances in one can."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

from extractors.facts import Evidence, Quantity, Reading, Role
from extractors.figure import Figure
from extractors.passage import Span
from extractors.placing import Filed
from extractors.scene import Scene


@dataclass
class Entry:
    """A reading on its way, with the tokens that it was made from."""

    reading: Reading
    figure: Figure
    filed: Filed | None
    span: Span
    repeats: list[Evidence] = field(default_factory=list)


def _correction(scene: Scene, before: Entry, after: Entry) -> bool:
    """Whether words of correction stand between two figures that may be the same thing."""
    gap = (before.span.end, after.span.start)
    if after.span.start - before.span.end > 14:
        return False
    hits = scene.hits("correction", *gap)
    if not hits:
        return False
    strong = scene.hits("correction!", *gap)
    if scene.figures_between(before.span.end, after.span.start) > 1:
        return False
    same = before.reading.quantity is after.reading.quantity and (
        before.reading.subject == after.reading.subject or not after.figure.units or not before.figure.units
    )
    if not strong:
        return same and len(range(*gap)) <= 4
    tokens = scene.passage.tokens
    if tokens[after.span.start].sentence - tokens[before.span.end - 1].sentence > 1:
        return False
    return same and (before.reading.place == after.reading.place or after.reading.place is None)


def _refined(scene: Scene, before: Entry, after: Entry) -> bool:
    """Whether the same thing was said more exactly in one breath: "36, 36.1"."""
    a, b = before.reading.value, after.reading.value
    if a is None or b is None or a == b or after.span.start - before.span.end > 3:
        return False
    if before.reading.quantity is not after.reading.quantity or before.figure.units:
        return False
    exact = a == int(a) and b != int(b) and int(b) == int(a)
    digits = (
        before.figure.form == "plain"
        and abs(a) < 10
        and after.figure.form in ("decimal",)
        and str(b).startswith("0.")
        and str(int(a)) == str(b)[2:3]
    )
    return exact or digits


def settle(scene: Scene, entries: list[Entry]) -> list[Entry]:
    """Corrections and refinements: the last figure stands, the one before is superseded by it."""
    out = list(entries)
    for i in range(len(out) - 1):
        before, after = out[i], out[i + 1]
        if _correction(scene, before, after) or _refined(scene, before, after):
            old, new = before.reading, after.reading
            keep = {"superseded_by": new.id}
            if old.subject != new.subject or old.role is not new.role:
                strong_old = (
                    before.filed is not None
                    and after.filed is not None
                    and before.filed.subject_share >= after.filed.subject_share
                )
                if strong_old and old.quantity is new.quantity:
                    new = new.model_copy(
                        update={
                            "subject": old.subject,
                            "role": old.role,
                            "place": new.place or old.place,
                            "rating": old.rating,
                        }
                    )
            twice = i > 0 and out[i - 1].reading.superseded_by == old.id
            if twice:
                new = new.model_copy(update={"confirm": (*new.confirm, "corrected twice")})
            out[i] = replace(before, reading=old.model_copy(update=keep))
            out[i + 1] = replace(after, reading=new)
    return out


TAKEN_BACK = 24  # tokens from a figure to the words that give it to something else


def taken_back(scene: Scene, entries: list[Entry]) -> list[Entry]:
    """Figures after which somebody said "no wait, that was the ...": what they are of is doubtful until heard again."""
    out = []
    for entry in entries:
        reading, end = entry.reading, entry.span.end
        backs = [] if reading.superseded_by else scene.hits("correction!", end, end + TAKEN_BACK)
        back = next((b.span for b in backs if scene.hits("swap", b.span.end, b.span.end + 2)), None)
        if back is not None and not reading.confirm:
            note = f"subject unclear: “{scene.passage.said(Span(back.start, back.end + 3))}”"
            entry = replace(entry, reading=reading.model_copy(update={"confirm": (note,)}))
        out.append(entry)
    return out


LEG_PAIRS = ("L1-L2", "L2-L3", "L1-L3")
LEGS = ("L1", "L2", "L3")
LEG_WORDS = frozenset(["legs", "leg", "phases", "phase", "lines"])


def name_legs(scene: Scene, entries: list[Entry]) -> list[Entry]:
    """Three voltages or currents in one breath after "legs" are the three legs in the usual order, and asked."""
    out = list(entries)
    i = 0
    while i + 2 < len(out):
        three = out[i : i + 3]
        readings = [e.reading for e in three]
        close = all(b.span.start - a.span.end <= 3 for a, b in pairwise(three))
        quantity = readings[0].quantity
        alike = all(r.quantity is quantity and r.value for r in readings) and quantity in (
            Quantity.VOLTAGE,
            Quantity.CURRENT,
        )
        named = any(
            r.subject in LEG_PAIRS or (r.subject in LEGS and e.filed and e.filed.filing.where == "right before")
            for r, e in zip(readings, three, strict=True)
        )
        if (
            close
            and alike
            and not named
            and max(r.value or 0 for r in readings) <= 2.5 * min(r.value or 0 for r in readings)
        ):
            words = set(scene.passage.norms[max(0, three[0].span.start - 14) : three[0].span.start])
            if words & LEG_WORDS:
                names = LEG_PAIRS if quantity is Quantity.VOLTAGE else LEGS
                for k, entry in enumerate(three):
                    note = "subject unclear: which leg was not said, taken in the usual order"
                    update: dict[str, object] = {
                        "confirm": (*(c for c in entry.reading.confirm if not c.startswith("subject")), note)
                    }
                    if quantity is Quantity.VOLTAGE:
                        update["subject"] = names[k]
                    else:
                        update["place"] = names[k]
                    out[i + k] = replace(entry, reading=entry.reading.model_copy(update=update))
                i += 3
                continue
        i += 1
    return out


def merge_repeats(entries: list[Entry]) -> list[Entry]:
    """One reading for a figure said again of the same thing; the first keeps the evidence of the others."""
    out: list[Entry] = []
    for entry in entries:
        reading = entry.reading
        twin = None
        for earlier in reversed(out[-40:]):
            r = earlier.reading
            if r.superseded_by or reading.superseded_by:
                continue
            if (r.quantity, r.subject, r.role, r.value, r.low, r.high, r.unit) != (
                reading.quantity,
                reading.subject,
                reading.role,
                reading.value,
                reading.low,
                reading.high,
                reading.unit,
            ):
                continue
            near = entry.span.start - earlier.span.end <= 40
            if r.place != reading.place and not (near and (r.place is None or reading.place is None)):
                continue
            if reading.role is Role.MEASURED and r.stage is not reading.stage:
                continue
            if reading.role is Role.MEASURED and not near:
                continue
            if r.rating is not reading.rating and r.rating and reading.rating:
                continue
            twin = earlier
            break
        if twin is None:
            out.append(entry)
        else:
            at = next(i for i, e in enumerate(out) if e is twin)
            kept = twin.reading
            update: dict[str, object] = {
                "repeats": (*kept.repeats, reading.evidence),
                "place": kept.place or reading.place,
            }
            if kept.confirm and not reading.confirm:
                update["confirm"] = tuple(c for c in kept.confirm if not c.startswith(("subject unclear", "may be")))
            if kept.tolerance_pct is None and reading.tolerance_pct:
                update["tolerance_pct"] = reading.tolerance_pct
            out[at] = replace(twin, reading=kept.model_copy(update=update))
    return out


def dual(entries: list[Entry]) -> list[Entry]:
    """A capacitor's "thirty-five five" is two capacitances of one can."""
    out: list[Entry] = []
    for entry in entries:
        r, pair = entry.reading, entry.figure.pair
        if (
            r.quantity is Quantity.CAPACITANCE
            and pair
            and r.role is Role.RATED
            and entry.figure.form == "dropped"
            and pair[0] >= 15 > pair[1]
        ):
            first = r.model_copy(update={"value": pair[0], "alternatives": (), "place": r.place or "herm"})
            second = r.model_copy(update={"id": r.id + "b", "value": pair[1], "alternatives": (), "place": "fan"})
            out += [replace(entry, reading=first), replace(entry, reading=second)]
        else:
            out.append(entry)
    return out
