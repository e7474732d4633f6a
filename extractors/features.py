"""The signs by which a figure is filed: where a subject was named, how the value fits, what the words beside it say."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.facts import Qualifier, Quantity, Role
from extractors.figures import Figure
from extractors.lexicon import load_table
from extractors.mentions import Mention, quantities_of, subjects
from extractors.passage import Span
from extractors.scene import Scene, quantity_rows
from extractors.units import convert, units


@dataclass(frozen=True, slots=True)
class Filing:
    """One way to file a figure; `subject` None files it among the figures that are no reading."""

    subject: str | None
    quantity: Quantity | None = None
    unit: str | None = None
    mention: Mention | None = None
    signs: tuple[str, ...] = ()


@dataclass(slots=True)
class Story:
    """What was filed so far, for the figures that lean on it."""

    subject: str | None = None
    quantity: Quantity | None = None
    unit: str | None = None
    role: Role | None = None
    figure: Figure | None = None
    mention: Mention | None = None
    by_quantity: dict[Quantity, str] = None  # type: ignore[assignment]
    units: dict[tuple[str, Quantity], str] = None  # type: ignore[assignment]
    recent: list[str] = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        """Begins with nothing filed."""
        self.by_quantity, self.units, self.recent = {}, {}, []


GAS = {"gas supply", "manifold", "gas valve", "flue", "duct", "inducer motor", "heat exchanger", "burner", "supply air", "return air", "air filter"}
MEG_WORDS = {"meg", "megs", "megger", "megged", "megohm", "megohms", "insulation", "megging"}
LOOK_BACK_MENTIONS = 14
LOOK_AHEAD_TOKENS = 14


def unit_for(scene: Scene, figure: Figure, subject: str, quantity: Quantity, story: Story) -> str | None:
    """The unit meant where none was said: the last one used for this subject and quantity, else the usual one."""
    known = story.units.get((subject, quantity))
    if known is not None:
        return known
    own = subjects().get(subject)
    if own is not None:
        for name, unit in own.units:
            if name == quantity:
                return unit
    if quantity is Quantity.RESISTANCE:
        words = set(scene.passage.norms[max(0, figure.span.start - 14) : figure.span.end + 3])
        if words & MEG_WORDS:
            return "Mohm"
    if quantity is Quantity.PRESSURE:
        if subject in GAS or (subject == "pressure switch" and figure.middle < 5):
            return "inWC"
        if subject == "system" and figure.middle >= 150 and scene.hits(f"q:{quantity}", max(0, figure.span.start - 25), figure.span.end + 8):
            words = set(scene.passage.norms[max(0, figure.span.start - 30) : figure.span.end + 10])
            if words & {"vacuum", "microns", "micron", "vac", "pump"} and not words & {"nitrogen", "nitro"}:
                return "micron"
        return "kPa" if scene.metric and "kpa" in scene.passage.norms else "psig"
    if quantity is Quantity.TEMPERATURE and scene.metric:
        return "degC"
    if quantity is Quantity.TEMPERATURE_DIFFERENCE and scene.metric:
        return "delta_degC"
    return quantity_rows()[quantity].unit


def _size(figure: Figure) -> str:
    value = abs(figure.middle)
    for limit, name in ((1, "<1"), (10, "<10"), (30, "<30"), (60, "<60"), (100, "<100"), (260, "<260"), (620, "<620"), (3000, "<3000")):
        if value < limit:
            return name
    return "big"


def _decimal(figure: Figure) -> str:
    return "dec" if figure.middle != int(figure.middle) else "int"


def _fit(figure: Figure, filing_unit: str | None, quantity: Quantity, subject: str) -> str:
    """Whether the value is usual for the subject, or at least possible for the quantity."""
    row = quantity_rows()[quantity]
    known = subjects().get(subject)
    value = figure.middle
    if known and filing_unit:
        for unit, low, high in known.usual:
            if units()[unit].dimension == units()[filing_unit].dimension:
                there = convert(value, filing_unit, unit)
                return "usual" if low <= there <= high else "unusual"
    if filing_unit and row.unit and units()[row.unit].dimension == units()[filing_unit].dimension:
        there = convert(value, filing_unit, row.unit)
        return "possible" if row.low <= there <= row.high else "unusual"
    return "possible"


def _distance(count: int) -> str:
    return "0" if count == 0 else "1" if count == 1 else "2" if count == 2 else "3+"


def _where(scene: Scene, figure: Figure, mention: Mention) -> str:
    """Where a mention stands, seen from the figure."""
    passage = scene.passage
    tokens = passage.tokens
    connect = load_table("connectors")["after"]
    if mention.span.end <= figure.span.start:
        gap = range(mention.span.end, figure.span.start)
        same_clause = tokens[mention.span.start].clause == tokens[figure.span.start].clause
        if len(gap) <= 2 and tokens[mention.span.start].sentence == tokens[figure.span.start].sentence:
            return "right before"
        if same_clause:
            return "clause before"
        apart = tokens[figure.span.start].sentence - tokens[mention.span.start].sentence
        if apart == 0:
            return "sentence before"
        return "one back" if apart == 1 else "two back" if apart == 2 else "few back" if apart <= 5 else "far back"
    if mention.span.start >= figure.span.end:
        same = tokens[mention.span.start].sentence == tokens[figure.span.start].sentence
        gap_words = [passage.norm(i) for i in range(figure.span.end, mention.span.start)]
        if same and len(gap_words) <= 5:
            if gap_words and gap_words[0] in connect["prepositions"] and all(
                w in connect["articles"] or w in connect["prepositions"] or i > 0 for i, w in enumerate(gap_words)
            ):
                return "tied after"
            if not gap_words:
                return "right after"
        if tokens[mention.span.start].clause == tokens[figure.span.start].clause:
            return "clause after"
        return "sentence after" if same else "next sentence"
    return "inside"


def options(scene: Scene, index: int, figure: Figure, story: Story) -> list[Filing]:
    """All ways to file a figure that are worth weighing, each with its signs."""
    passage = scene.passage
    sentence = scene.sentence(figure)
    near: dict[str, tuple[Mention | None, str]] = {}
    back = scene.mentions_before(figure.span.start, LOOK_BACK_MENTIONS)
    ahead = scene.mentions_after(figure.span.start, min(sentence.end, figure.span.end + LOOK_AHEAD_TOKENS))
    rank = {"right before": 0, "tied after": 1, "clause before": 2, "inside": 1, "right after": 3, "clause after": 4,
            "sentence before": 5, "sentence after": 7, "one back": 6, "two back": 8, "few back": 9, "far back": 10, "next sentence": 11}
    for mention in ahead + back:
        where = _where(scene, figure, mention)
        for name in (mention.subject, *(o for o in mention.options if mention.open)):
            old = near.get(name)
            if old is None or rank[where] < rank[old[1]]:
                near[name] = (mention, where)
    if story.subject and story.subject not in near:
        near[story.subject] = (None, "carried")
    for quantity, name in story.by_quantity.items():
        if name not in near and (not figure.units or quantity in {units()[u].quantity for u in figure.units}):
            near[name] = (None, "carried by quantity")
    spoken = [(units()[name].quantity, name) for name in figure.units]
    if "%" in figure.units:
        spoken += [(Quantity.HUMIDITY, "%"), (Quantity.CONCENTRATION, "%")]
    if figure.units and {"degF", "degC"} <= set(figure.units):
        drop = "degF" if scene.metric else "degC"
        spoken = [(q, u) for q, u in spoken if not u.endswith(drop)]
    implied = {q: r.subject for q, r in quantity_rows().items()}
    for quantity in dict.fromkeys(q for q, _ in spoken):
        if implied[quantity] not in near:
            near[implied[quantity]] = (None, "implied")
    for quantity in quantity_rows():
        if not spoken and scene.hits(f"q:{quantity}", *scene.lead(figure)) and implied[quantity] not in near:
            near[implied[quantity]] = (None, "implied")
    common = _common_signs(scene, index, figure, story)
    found: list[Filing] = []
    for name, (mention, where) in near.items():
        usual = quantities_of(name)
        pairs = spoken or [(Quantity(q), "") for q in usual]
        for quantity, unit in pairs:
            resolved = unit or (unit_for(scene, figure, name, quantity, story) or "")
            found.append(_filing(scene, figure, story, name, quantity, resolved or None, mention, where, common, ahead, back, bool(spoken)))
    found.append(Filing(None, signs=_none_signs(scene, index, figure, found, common)))
    return found


def _common_signs(scene: Scene, index: int, figure: Figure, story: Story) -> dict[str, bool]:
    passage = scene.passage
    back_words = load_table("connectors")["back"]["pronouns"]
    lead = scene.lead(figure)
    words = [passage.norm(i) for i in range(*lead)]
    before = index > 0 and scene.figures[index - 1] is story.figure
    gap = [passage.norm(i) for i in range(story.figure.span.end, figure.span.start)] if story.figure and before else ["?"]
    return {
        "pronoun": any(w in back_words for w in words[:4]) or (len(words) <= 3 and any(w in back_words for w in words)),
        "listed": before and len(gap) <= 3 and all(w in (",", "and", "then", "to", "uh", "um", "or") for w in gap),
        "place": any(p.alone and lead[0] <= p.span.start and p.span.end <= figure.span.start and figure.span.start - p.span.end <= 6 for p in scene.places),
        "bare": not words or all(w in (",", "and", "uh", "um", "so", "at", "is", "then", "now") for w in words),
        "same sentence": bool(story.figure) and passage.tokens[story.figure.span.start].sentence == passage.tokens[figure.span.start].sentence,  # type: ignore[union-attr]
    }


def _filing(
    scene: Scene, figure: Figure, story: Story, name: str, quantity: Quantity, unit: str | None, mention: Mention | None,
    where: str, common: dict[str, bool], ahead: list[Mention], back: list[Mention], spoken: bool,
) -> Filing:
    usual = quantities_of(name)
    signs: list[str] = [f"where:{where}"]
    place_in_list = usual.index(quantity) if quantity in usual else -1
    fits = "first" if place_in_list == 0 else "listed" if place_in_list > 0 else "never"
    signs.append(f"fits:{fits}")
    signs.append(f"fits:{fits}|{'unit said' if spoken else 'no unit'}")
    fit = _fit(figure, unit, quantity, name)
    signs.append(f"value:{fit}" + ("" if spoken else "|no unit"))
    if mention is not None:
        low, high = sorted((mention.span.end, figure.span.start))
        between = scene.figures_between(low, high)
        signs.append(f"figures between:{_distance(between)}")
        others = [m for m in (back if mention.span.start < figure.span.start else ahead)
                  if low <= m.span.start < high and m is not mention and m.subject != name and quantity in quantities_of(m.subject)]
        signs.append(f"rivals between:{_distance(len(others))}")
        if mention.weak:
            signs.append("named:shared word")
        if mention.open:
            signs.append("named:open")
        if mention.misheard:
            signs.append("named:misheard")
        words_apart = max(0, high - low)
        signs.append("apart:" + ("<3" if words_apart < 3 else "<8" if words_apart < 8 else "<20" if words_apart < 20 else "20+"))
        if name == "unit":
            signs.append("named:whole machine")
        signs += _named(scene, mention, quantity)
    near = "near" if where in ("right before", "tied after", "clause before", "right after", "inside") else "sentence" if "sentence" in where else "away"
    signs.append(f"{near}|{fits}")
    if spoken:
        signs.append(f"{near}|{fits}|unit said")
    if Qualifier.INRUSH in figure.qualifiers or Qualifier.LOCKED_ROTOR in figure.qualifiers:
        signs.append("inrush:current" if quantity is Quantity.CURRENT else "inrush:other")
    same = story.subject == name
    for key, on in common.items():
        if on:
            signs.append(f"{key}:{'same as before' if same else 'other than before'}")
    if same:
        signs.append("subject:same as before")
    if story.by_quantity.get(quantity) == name:
        signs.append("subject:same as last of quantity")
    if name in story.recent:
        signs.append("subject:filed lately")
    if not spoken:
        lead, trail = scene.lead(figure), scene.trail(figure)
        if scene.hits(f"q:{quantity}", *lead):
            signs.append("quantity:cue before")
        if scene.hits(f"q:{quantity}", trail[0], min(trail[1], trail[0] + 5)):
            signs.append("quantity:cue after")
        if story.quantity == quantity:
            signs.append("quantity:same as before" + (" in sentence" if common["same sentence"] else ""))
        signs.append(f"size:{quantity}|{_size(figure)}|{_decimal(figure)}")
        if figure.form in ("pair", "clock"):
            signs.append(f"form:{quantity}|pair")
    if quantity is Quantity.TEMPERATURE_DIFFERENCE and {"degF", "degC"} & set(figure.units):
        tail = " ".join(scene.passage.norm(figure.span.end + k) for k in range(4))
        signs.append("difference:" + ("worded" if any(w in tail for w in _DIFFERENCE) else "bare"))
    if quantity is Quantity.MASS and "psig" in figure.units:
        signs.append(f"pounds:mass|{_size(figure)}")
        if scene.hits("q:mass", *scene.lead(figure)) or scene.hits("q:mass", figure.span.end, figure.span.end + 5):
            signs.append("pounds:mass word")
    if quantity is Quantity.PRESSURE and "lb" in figure.units:
        signs.append(f"pounds:pressure|{_size(figure)}")
    if "uF" in figure.units and len(figure.units) > 1:
        signs.append(f"mikes:{unit}|{_size(figure)}")
    if "inHg" in figure.units and len(figure.units) > 1:
        signs.append(f"inches:{unit}|{_size(figure)}|{'gas' if name in GAS else 'other'}")
    signs.append(f"about:{name}|{quantity}")
    return Filing(name, quantity, unit, mention, tuple(signs))


def _named(scene: Scene, mention: Mention, quantity: Quantity) -> list[str]:
    """How a mention stands in its own sentence, and what quantity its words hint at."""
    passage, span = scene.passage, mention.span
    signs: list[str] = []
    words = passage.norms[span.start : span.end]
    hint = next((HINTS[w] for w in (*words, passage.norm(span.end)) if w in HINTS), None)
    phrase = " ".join(words)
    if phrase in WINDINGS:
        hint = "resistance"
    if hint is not None:
        signs.append("hint:fits" if quantity == hint else "hint:other")
    before, after = passage.norm(span.start - 1), passage.norm(span.end)
    if before in ("the", "a", "my", "this", "that", "his", "her", "their"):
        before = passage.norm(span.start - 2)
    if before in PREPOSITIONS:
        signs.append("named:after preposition")
    if after in ("'s", "is", "was", "are", "were", "reads", "read", "says", "at", "pulling", "pulls", "drawing", "had", "has", ","):
        signs.append("named:speaks")
    sentence = passage.sentence_span(span.start)
    if not scene.mentions_after(sentence.start, span.start):
        signs.append("named:first in sentence")
    return signs


HINTS = {"temp": "temperature", "temps": "temperature", "temperature": "temperature", "pressure": "pressure", "voltage": "voltage", "amps": "current", "volts": "voltage", "ohms": "resistance", "draw": "current", "watts": "power", "resistance": "resistance", "amp": "current", "gauge": "pressure", "time": "duration", "pressures": "pressure"}
WINDINGS = {"common to run", "common to start", "run to start", "start to run", "c to r", "c to s", "r to s", "s to r", "winding", "windings"}
PREPOSITIONS = {"by", "at", "on", "in", "of", "from", "to", "under", "behind", "near", "beside", "with", "for", "into", "off", "through", "before", "after", "across"}
_DIFFERENCE = ("of super", "of sub", "split", "rise", "drop", "apart", "over", "under", "difference", "off", "warmer", "colder", "above", "below", "of s", "higher", "lower", "td")


def _none_signs(scene: Scene, index: int, figure: Figure, found: list[Filing], common: dict[str, bool]) -> tuple[str, ...]:
    aside = scene.asides.get(index)
    signs = ["none"]
    signs.append(f"none:aside {aside.because.split('“')[0].strip()}" if aside else "none:no aside")
    signs.append("none:unit said" if figure.units else "none:no unit")
    signs.append(f"none:{_size(figure)}|{_decimal(figure)}" if not figure.units else "none:sized")
    clause = scene.clause(figure)
    named = [f for f in found if f.mention is not None and clause.start <= f.mention.span.start < clause.end]
    signs.append("none:fitting subject in clause" if named else "none:no subject in clause")
    if figure.form in ("article",):
        signs.append("none:article")
    if figure.form == "fraction":
        signs.append("none:fraction")
    for key, on in common.items():
        if on:
            signs.append(f"none:{key}")
    if figure.units:
        signs.append(f"none:{'|'.join(figure.units[:1])}")
    if figure.value in (1.0, 2.0, 3.0, 4.0) and not figure.units:
        signs.append("none:small count")
    return tuple(signs)


def role_signs(scene: Scene, figure: Figure, filing: Filing, story: Story) -> dict[Role, tuple[str, ...]]:
    """The signs for each role of a figure that was filed."""
    lead, trail = scene.lead(figure), scene.trail(figure)
    clause = scene.clause(figure)
    tail_end = min(trail[1], figure.span.end + 7)
    same_sentence = bool(story.figure) and scene.passage.tokens[story.figure.span.start].sentence == scene.passage.tokens[figure.span.start].sentence  # type: ignore[union-attr]
    found: dict[Role, tuple[str, ...]] = {}
    nearest: list[tuple[int, str]] = []
    for role in Role:
        hits = scene.hits(f"role:{role}", *lead)
        if hits:
            nearest.append((figure.span.start - hits[-1].span.end, role.value))
    closest = min(nearest)[1] if nearest else "none"
    sentence = scene.sentence(figure)
    for role in Role:
        signs = [f"role:{role}"]
        for other in Role:
            hits = scene.hits(f"role:{other}", *lead)
            if hits:
                distance = figure.span.start - hits[-1].span.end
                signs.append(f"{role}<{other} before:{'near' if distance <= 2 else 'mid' if distance <= 6 else 'far'}")
            if scene.hits(f"role:{other}", figure.span.end, tail_end):
                signs.append(f"{role}<{other} after")
            if not hits and scene.hits(f"role:{other}", sentence.start, figure.span.start):
                signs.append(f"{role}<{other} earlier in sentence")
        signs.append(f"{role}<closest {closest}")
        signs.append(f"{role}<about {filing.subject}")
        signs.append(f"{role}<quantity {filing.quantity}")
        signs.append(f"{role}<unit {filing.unit}")
        signs.append(f"{role}<{_decimal(figure)}")
        if story.role is not None:
            signs.append(f"{role}<before was {story.role}{' in sentence' if same_sentence else ''}")
            if story.subject == filing.subject:
                signs.append(f"{role}<before was {story.role} of same subject{' in sentence' if same_sentence else ''}")
        if figure.tolerance:
            signs.append(f"{role}<tolerance")
        if any(scene.hits(f"which:{name}", lead[0], figure.span.end + 4) for name in ("RLA", "FLA", "LRA", "MCA", "MOCP")):
            signs.append(f"{role}<plate word")
        if figure.form == "range":
            signs.append(f"{role}<range")
        if figure.changed_to or figure.changed_from:
            signs.append(f"{role}<changed")
        for qualifier in figure.qualifiers:
            signs.append(f"{role}<{qualifier.value}")
        after = scene.passage.norm(figure.span.end)
        if filing.unit and after in ("motor", "heater", "capacitor", "cap", "relay", "breaker", "fuse", "element", "unit", "coil", "transformer", "circuit", "compressor", "fan", "one", "part", "service", "pump", "outlet", "plug", "machine", "fuses"):
            signs.append(f"{role}<names a part")
        before = scene.passage.norm(figure.span.start - 1)
        if before in ("a", "an", "the"):
            signs.append(f"{role}<article before")
        if set(scene.passage.norms[clause.start : clause.end]) & {"new", "box", "truck", "put"}:
            signs.append(f"{role}<new part")
        found[role] = tuple(signs)
    return found
