"""Readings of the job, and every other figure with the reason why it is none."""

from __future__ import annotations

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
from extractors.features import Filing
from extractors.figure import Figure, tolerance_pct
from extractors.heard_as import is_strange, said_of
from extractors.lexicon import load_table
from extractors.meant import subject_word
from extractors.numerals import numerals
from extractors.passage import Span, make_passage
from extractors.placing import Filed, choose_value, file_all
from extractors.registry import Extractor, Found
from extractors.scene import Scene
from extractors.series import with_minutes
from extractors.settle import Entry, dual, merge_repeats, name_legs, settle, taken_back
from extractors.stages import Story
from extractors.talk import Talk
from extractors.units import units

SURE_SUBJECT = 0.75
SURE_ROLE = 0.65
SURE_STAGE = 0.9
"""From this share on the words around a figure tell its stage, against the story of the job."""
PLACES_BEFORE = 10
PLAIN_WORDS = frozenset(
    (
        "the",
        "that",
        "this",
        "and",
        "its",
        "his",
        "her",
        "their",
        "your",
        "our",
        "same",
        "high",
        "low",
        "normal",
        "running",
    )
)


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
    if filed.subject_share < SURE_SUBJECT and filed.rival_quantities and not figure.units:
        for other in filed.rival_quantities:
            alternatives.append(
                Alternative(
                    value=figure.value, low=figure.low, high=figure.high, unit=other.unit, quantity=other.quantity
                )
            )
        others = " or ".join(_spoken(other.unit) for other in filed.rival_quantities)
        confirm.append(f"unit not said: {_spoken(filing.unit)} or {others}")
    for size in _sizes(filing, figure):
        alternatives.append(Alternative(value=figure.value, low=figure.low, high=figure.high, unit=size))
        confirm.append(f"unit not said: {_spoken(filing.unit)} or {_spoken(size)}")
    strange = _strange_name(scene, figure, filing.subject)
    if strange and not confirm:
        confirm.append(f"subject unclear: “{strange}”")
    if filed.role_share < SURE_ROLE and filed.second_role is not None:
        if {filed.role, filed.second_role} & {Role.RATED}:
            confirm.append("may be measured" if filed.role is Role.RATED else "may be rated")
        else:
            confirm.append(f"subject unclear: {filed.role} or {filed.second_role}")
    if other_way or figure.form == "comma":
        confirm.append("decimal point: heard without it" if other_way else "decimal point")
    start = max(scene.lead(figure)[0], _quote_start(scene, figure))
    misheard = said_of(passage, Span(start, figure.span.end))
    if filing.mention is not None:
        misheard += said_of(passage, filing.mention.span)
    confirm += dict.fromkeys(misheard)
    if scene.passage.heard and not figure.units and not confirm:
        unknown = [i for i in range(start, figure.number.start) if is_strange(passage, passage.tokens[i])]
        if unknown:
            confirm.append(f"subject unclear: “{passage.tokens[unknown[-1]].text}”")
    if figure.mended:
        confirm.append(f"heard differently: “{passage.said(figure.number)}” taken for {figure.middle:g}")
    if figure.otherwise:
        if not figure.mended:
            confirm.append("heard differently: " + ", ".join(f"{value:g}" for value in figure.otherwise))
        alternatives += [Alternative(value=value, unit=filing.unit) for value in figure.otherwise[:3]]
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
    told = scene.impressions[filed.index].stage
    words = max(Stage, key=lambda one: told.get(one, 0.0))
    by_story = stage
    if stage is not None and told[words] >= SURE_STAGE:
        stage = words
    because = [
        f"filed as {filing.subject}, {filing.quantity} ({filed.subject_share:.0%})",
        f"role {filed.role} ({filed.role_share:.0%})",
    ]
    if filing.mention is not None:
        because.append(f"“{passage.said(filing.mention.span)}” names {filing.subject}")
    because.append(f"unit said: {filing.unit}" if figure.units else f"unit not said: {filing.unit} from the subject")
    if by_story is not None:
        because.append(
            f"{by_story.replace('_', ' ')} by the story, {words.replace('_', ' ')} by the words ({told[words]:.0%})"
        )
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
        because=tuple(because),
        probability=passage.probability(figure.number),
    )
    return Entry(reading, figure, filed, span)


def _strange_name(scene: Scene, figure: Figure, subject: str) -> str | None:
    """A pressure or temperature named by a word that nobody knows, "pet pressure": likely a misheard name."""
    start = max(scene.lead(figure)[0], figure.span.start - 5)
    for index in range(start, figure.span.start):
        if scene.passage.norm(index) not in ("pressure", "temp", "temperature") or index == 0:
            continue
        before = scene.passage.norm(index - 1)
        named = any(m.span.start <= index < m.span.end or m.span.end == index for m in scene.talk.mentions)
        if not named and before.isalpha() and len(before) > 2 and before not in PLAIN_WORDS:
            return scene.passage.said(Span(index - 1, index + 1))
    return None


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


PROBES = frozenset(("sensor", "thermistor", "humidity sensor"))


def _sizes(filing: Filing, figure: Figure) -> tuple[str, ...]:
    """Other sizes of a unit that was not said: a thousand and a million times as much go by the same bare number."""
    if figure.units or filing.quantity is not Quantity.RESISTANCE:
        return ()
    if filing.subject in PROBES:
        return ("ohm",) if filing.unit == "kohm" else ("kohm",)
    return ("ohm",) if filing.unit in ("Mohm", "kohm") else ()


def _spoken(unit: str | None) -> str:
    """A unit as a person says it."""
    return units()[unit].say[0] if unit else "a plain number"


def _quote_start(scene: Scene, figure: Figure) -> int:
    """A quote begins at its clause, at most eight words before the figure."""
    clause = scene.clause(figure)
    return max(clause.start, figure.span.start - 8)


def _unplaced(scene: Scene, index: int, filed: Filed | None) -> Unplaced:
    figure = scene.figures[index]
    aside = scene.asides.get(index)
    if aside is not None:
        reason, because = aside.reason, aside.because
    elif filed is not None and filed.filing.subject is not None:
        reason, because = UnplacedReason.CLOCK_OR_DATE, "the time of a series: it stands in the trends"
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


def _named(talk: Talk, found: Found) -> list[Unplaced]:
    """Figures that were taken for part of a name or number, and that no field of the machine or of a part quotes."""
    machine, others = found.facts.get("equipment", (None, ()))
    fields = [getattr(one, name) for one in (machine, *others) if one is not None for name in type(one).model_fields]
    named = [field.evidence for field in fields if field is not None and field.evidence is not None]
    named += [part.evidence for part in found.facts.get("parts", ())]
    rest = []
    for figure in talk.figures:
        span = next((s for s in found.used if s.overlaps(figure.number)), None)
        said = talk.passage.said(figure.number)
        if span is None:
            continue
        evidence = talk.passage.evidence(Span(min(span.start, figure.span.start), max(span.end, figure.span.end)))
        if any(said in one.quote and _same_stretch(one, evidence) for one in named):
            continue
        because = (f"taken for {found.used[span]}",)
        rest.append(Unplaced(text=said, reason=UnplacedReason.IDENTIFIER, evidence=evidence, because=because))
    return rest


def _same_stretch(one: Evidence, other: Evidence) -> bool:
    """Whether two quotes are of one line, or of the same half minute of sound."""
    if one.recording != other.recording or one.line != other.line:
        return False
    return one.start is None or other.start is None or abs(one.start - other.start) < 30


def find(talk: Talk, found: Found) -> tuple[tuple[Reading, ...], tuple[Unplaced, ...]]:
    """Readings in the order of the telling, and the figures that are none."""
    scene = Scene(talk, found.used)
    story = Story(talk.passage, found.deeds)
    filed = file_all(scene)
    entries = [_make(scene, story, f, n) for n, f in enumerate((f for f in filed if f.filing.subject is not None), 1)]
    entries, times = with_minutes(
        scene, merge_repeats(name_legs(scene, dual(taken_back(scene, settle(scene, entries)))))
    )
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
    placed = {f.index for f in filed if f.filing.subject is not None} - times
    by_index = {f.index: f for f in filed}
    tolerances = {i for i, f in enumerate(scene.figures) if f.form == "tolerance"}
    rest = [
        _unplaced(scene, i, by_index.get(i))
        for i, figure in enumerate(scene.figures)
        if i not in placed and i not in tolerances and not scene.is_used(figure)
    ]
    return tuple(readings), (*rest, *_named(talk, found))


EXTRACTOR = Extractor("readings", find, gives="readings", needs=("equipment", "actions", "parts"))
