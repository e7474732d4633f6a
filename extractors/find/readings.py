"""Readings of the job, and every other figure with the reason why it is none."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from extractors.facts import (
    Alternative,
    Evidence,
    Qualifier,
    Quantity,
    Rating,
    Reading,
    Role,
    Segment,
    Stage,
    Transcript,
    Unplaced,
    UnplacedReason,
)
from extractors.features import after_a_time
from extractors.figures import Figure, tolerance_pct
from extractors.lexicon import load_table
from extractors.meant import subject_word
from extractors.numerals import numerals
from extractors.passage import Span, make_passage
from extractors.placing import Filed, choose_value, file_all
from extractors.registry import Extractor, Found
from extractors.scene import Scene
from extractors.stages import Story
from extractors.talk import Talk

SURE_SUBJECT = 0.7
SURE_ROLE = 0.62
PLACES_BEFORE = 7


@dataclass
class Entry:
    """A reading on its way, with the tokens that it was made from."""

    reading: Reading
    figure: Figure
    filed: Filed | None
    span: Span
    minutes: float | None = None
    repeats: list[Evidence] = field(default_factory=list)


def _qualifiers(scene: Scene, filed: Filed) -> tuple[Qualifier, ...]:
    names = list(filed.figure.qualifiers)
    if filed.filing.quantity is not Quantity.CURRENT:
        names = [n for n in names if n not in (Qualifier.INRUSH, Qualifier.LOCKED_ROTOR)]
    if filed.filing.unit == "inHg" and Qualifier.NEGATIVE_IS_VACUUM not in names:
        names.append(Qualifier.NEGATIVE_IS_VACUUM)
    return tuple(dict.fromkeys(names))


def _rating(scene: Scene, filed: Filed) -> Rating | None:
    if filed.role is not Role.RATED:
        return None
    lead = scene.lead(filed.figure)
    for name in Rating:
        hits = scene.hits(f"which:{name}", lead[0], filed.figure.span.end + 3)
        if hits and filed.filing.quantity is Quantity.CURRENT:
            return name
    return None


def _of(scene: Scene, filed: Filed) -> str | None:
    if filed.filing.quantity not in (Quantity.CONCENTRATION, Quantity.PERCENTAGE, Quantity.TEMPERATURE):
        return None
    start, _ = scene.lead(filed.figure)
    for name in load_table("roles")["of"]:
        hits = scene.hits(f"of:{name}", start, filed.figure.span.end + 5)
        if hits and (filed.filing.quantity is not Quantity.TEMPERATURE or name in ("wet bulb", "dew point", "surface")):
            return str(name)
    return None


def _place(scene: Scene, filed: Filed) -> str | None:
    """A place word close before the figure, or of the mention, or right after it ("on the left")."""
    figure = filed.figure
    sentence = scene.sentence(figure)
    lead, _ = scene.lead(figure)
    best: str | None = None
    for place in scene.places:
        if place.span.start >= figure.span.end + 5:
            break
        if (
            max(lead, figure.span.start - PLACES_BEFORE) <= place.span.start < figure.span.start
            and place.span.start >= sentence.start
        ):
            best = place.said
    if best is None and filed.filing.mention is not None and filed.filing.mention.span.end <= figure.span.end + 8:
        between = scene.figures_between(filed.filing.mention.span.end, figure.span.start)
        best = filed.filing.mention.place if between == 0 else None
    if best is None:
        words = [scene.passage.norm(figure.span.end + k) for k in range(3)]
        for place in scene.places:
            if place.span.start in (figure.span.end + 1, figure.span.end + 2) and words[0] in ("on", "at", "for", "in"):
                best = place.said
    return best


def _make(scene: Scene, story: Story, filed: Filed, number: int) -> Entry:
    figure, other_way = choose_value(filed.figure, filed.filing)
    filing = filed.filing
    assert filing.subject is not None and filing.quantity is not None
    passage = scene.passage
    confirm: list[str] = []
    alternatives = [Alternative(value=value, unit=filing.unit) for value in figure.also[:2]]
    if filed.subject_share < SURE_SUBJECT:
        rival = filed.rival.subject if filed.rival and filed.rival.subject else None
        confirm.append("subject unclear" + (f": or {rival}" if rival else ": it may be no reading"))
    if filed.subject_share < SURE_SUBJECT and filed.rival_quantity is not None and not figure.units:
        other = filed.rival_quantity
        alternatives.append(
            Alternative(value=figure.value, low=figure.low, high=figure.high, unit=other.unit, quantity=other.quantity)
        )
        confirm.append(f"unit not said: {filing.unit} or {other.unit}")
    if filed.role_share < SURE_ROLE and filed.second_role is not None:
        if {filed.role, filed.second_role} & {Role.RATED}:
            confirm.append("may be measured" if filed.role is Role.RATED else "may be rated")
        else:
            confirm.append(f"subject unclear: {filed.role} or {filed.second_role}")
    if other_way or figure.form == "comma":
        confirm.append("decimal point: heard without it" if other_way else "decimal point")
    if figure.misheard_unit:
        confirm.append(f"low confidence: “{passage.said(Span(figure.number.end, figure.span.end))}” taken for the unit")
    if (
        any(
            passage.norm(i) in ("to", "too", "for", "won", "ate", "tree")
            for i in range(figure.number.start, figure.number.end)
        )
        and figure.form == "decimal"
    ):
        confirm.append("low confidence: a word was taken for a digit")
    lead = scene.lead(figure)
    unsure = scene.hits("unsure", max(lead[0], figure.span.start - 8), figure.span.end + 6)
    unsure = [h for h in unsure if passage.tokens[h.span.start].sentence == passage.tokens[figure.span.start].sentence]
    if unsure and filed.role is Role.MEASURED and filing.quantity is not Quantity.DURATION:
        confirm.append(f"speaker not sure: “{passage.said(unsure[-1].span)}”")
    heard, heard_as = _heard(scene, figure, filing.unit)
    confirm += heard
    alternatives += [a for a in heard_as if a not in alternatives]
    stage = None
    if filed.role is Role.MEASURED:
        stage = story.stage(figure.number, scene.clause(figure))
    elif figure.changed_from or figure.changed_to:
        stage = Stage.AS_LEFT if figure.changed_to else Stage.AS_FOUND
    elif filed.role is Role.SETPOINT:
        stage = story.stage(figure.number, scene.clause(figure))
    because = [
        f"filed as {filing.subject}, {filing.quantity}, {filed.role} ({filed.subject_share:.0%}, role {filed.role_share:.0%})"
    ]
    if filing.mention is not None:
        because.append(f"“{passage.said(filing.mention.span)}” names {filing.subject}")
    because.append(f"unit said: {filing.unit}" if figure.units else f"unit not said: {filing.unit} from the subject")
    because += [f"refused: {name} ({share:.0%})" for name, share in filed.refused]
    span = Span(figure.span.start, figure.span.end)
    quote = Span(max(lead[0], _quote_start(scene, figure)), span.end)
    reading = Reading(
        id=f"r{number}",
        quantity=filing.quantity,
        subject=subject_word(scene, filing.subject, filing.mention),
        role=filed.role,
        value=figure.value,
        low=figure.low,
        high=figure.high,
        tolerance_pct=tolerance_pct(figure),
        unit=filing.unit,
        place=_place(scene, filed),
        of=_of(scene, filed),
        rating=_rating(scene, filed),
        qualifiers=_qualifiers(scene, filed),
        stage=stage,
        at=passage.start_of(passage.tokens[figure.number.start]),
        evidence=passage.evidence(quote),
        confirm=tuple(confirm),
        alternatives=tuple(alternatives),
        minutes=_minutes(scene, filed),
        because=tuple(because),
        probability=passage.probability(figure.number),
    )
    return Entry(reading, figure, filed, span)


def _heard(scene: Scene, figure: Figure, unit: str | None) -> tuple[list[str], list[Alternative]]:
    """What the sound says against a figure: reasons for a second listen, and the other figures that it may be."""
    reasons: list[str] = []
    others: list[Alternative] = []
    for index in range(figure.number.start, figure.number.end):
        token = scene.passage.tokens[index]
        for doubt in scene.passage.transcript.segments[token.segment].doubts:
            if doubt.start < token.end and token.start < doubt.end and doubt.confirm:
                said = [
                    f"heard differently: {doubt.alternatives[0]}"
                    if r == "heard differently" and doubt.alternatives
                    else r
                    for r in doubt.confirm
                ]
                reasons += [r for r in said if r not in reasons]
                for text in doubt.alternatives:
                    for numeral in numerals(make_passage(Transcript(segments=(Segment(text=text),)))):
                        other = Alternative(value=numeral.value, unit=unit)
                        if numeral.value != figure.value and other not in others:
                            others.append(other)
    return reasons, others


def _minutes(scene: Scene, filed: Filed) -> float | None:
    """The clock time or the run time that was said right before the figure, in minutes."""
    index = filed.index
    if index == 0 or not after_a_time(scene, index, filed.figure):
        return None
    aside = scene.asides.get(index - 1)
    if aside is not None and aside.minutes is not None:
        return aside.minutes
    before = scene.figures[index - 1]
    if before.value is None:
        return None
    return before.value * (60.0 if "h" in before.units else 1.0)


def _quote_start(scene: Scene, figure: Figure) -> int:
    """A quote begins at its clause, at most eight words before the figure."""
    clause = scene.clause(figure)
    return max(clause.start, figure.span.start - 8)


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
    """ "36, 36.1": the same thing said more exactly in one breath."""
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


LEG_PAIRS = ("L1-L2", "L2-L3", "L1-L3")
LEGS = ("L1", "L2", "L3")
LEG_WORDS = frozenset(["legs", "leg", "phases", "phase", "lines"])


def name_legs(scene: Scene, entries: list[Entry]) -> list[Entry]:
    """Three voltages or currents in one breath after "legs" are the three legs, in the order of the trade, and asked."""
    out = list(entries)
    i = 0
    while i + 2 < len(out):
        three = out[i : i + 3]
        readings = [e.reading for e in three]
        close = all(b.span.start - a.span.end <= 3 for a, b in zip(three, three[1:], strict=False))
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


def _dual(entries: list[Entry]) -> list[Entry]:
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


def _unplaced(scene: Scene, index: int, filed: Filed | None) -> Unplaced:
    figure = scene.figures[index]
    aside = scene.asides.get(index)
    if aside is not None:
        reason, because = aside.reason, aside.because
    elif figure.form.startswith("tolerance"):
        reason, because = UnplacedReason.UNCLEAR, "a tolerance without its figure"
    elif figure.units:
        reason, because = UnplacedReason.NO_SUBJECT, "nothing near says what it is about"
    else:
        reason, because = UnplacedReason.NO_UNIT, "no unit was said and no subject gives one"
    clause = scene.clause(figure)
    start, end = max(clause.start, figure.span.start - 5), min(clause.end, figure.span.end + 4)
    return Unplaced(
        text=scene.passage.said(figure.span),
        reason=reason,
        evidence=scene.passage.evidence(Span(start, max(end, figure.span.end))),
        because=(because,),
    )


def find(talk: Talk, found: Found) -> tuple[tuple[Reading, ...], tuple[Unplaced, ...]]:
    """Readings in the order of the telling, and the figures that are none."""
    scene = Scene(talk, found.used)
    deeds = [d for d in found.deeds]
    story = Story(talk.passage, deeds)
    filed = file_all(scene)
    entries = [_make(scene, story, f, n) for n, f in enumerate((f for f in filed if f.filing.subject is not None), 1)]
    entries = merge_repeats(name_legs(scene, _dual(settle(scene, entries))))
    readings = []
    names: dict[str, str] = {}
    for number, entry in enumerate(entries, 1):
        names[entry.reading.id] = f"r{number}"
    for entry in entries:
        r = entry.reading
        readings.append(
            r.model_copy(
                update={
                    "id": names[r.id],
                    "superseded_by": names.get(r.superseded_by or "") if r.superseded_by else None,
                }
            )
        )
    placed = {f.index for f in filed if f.filing.subject is not None}
    by_index = {f.index: f for f in filed}
    tolerances = {i for i, f in enumerate(scene.figures) if f.form == "tolerance"}
    rest = [
        _unplaced(scene, i, by_index.get(i))
        for i, figure in enumerate(scene.figures)
        if i not in placed and i not in tolerances and not scene.is_used(figure)
    ]
    return tuple(readings), tuple(rest)


EXTRACTOR = Extractor("readings", find, gives="readings")
