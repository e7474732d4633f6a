"""The signs by which a figure is filed: where a subject was named, how the value fits, what the words beside it say."""

from __future__ import annotations

from dataclasses import dataclass, field

from extractors.facts import Qualifier, Quantity, Role
from extractors.figures import Figure
from extractors.lexicon import load_table
from extractors.mentions import Mention, quantities_of, subjects
from extractors.scene import Scene, quantity_rows
from extractors.units import convert, units


@dataclass(frozen=True, slots=True)
class Candidate:
    """One subject that a figure may be about, where it was named, and the signs for it."""

    subject: str
    mention: Mention | None
    where: str
    signs: tuple[str, ...]
    quantity: Quantity
    unit: str | None


@dataclass(frozen=True, slots=True)
class Filing:
    """What a figure was filed as; `subject` None files it among the figures that are no reading."""

    subject: str | None
    quantity: Quantity | None = None
    unit: str | None = None
    mention: Mention | None = None
    where: str = ""


@dataclass(slots=True)
class Story:
    """What was filed so far, for the figures that lean on it."""

    subject: str | None = None
    quantity: Quantity | None = None
    unit: str | None = None
    role: Role | None = None
    figure: Figure | None = None
    mention: Mention | None = None
    where: str = ""
    series: tuple[str, Quantity] | None = None
    """What the last figure after a time was about: "11:20, 46; 11:40, 42"."""
    by_quantity: dict[Quantity, str] = field(default_factory=dict)
    units: dict[tuple[str, Quantity], str] = field(default_factory=dict)
    recent: list[str] = field(default_factory=list)


GAS = {"gas supply", "manifold", "gas valve", "flue", "duct", "inducer motor", "heat exchanger", "burner", "supply air", "return air", "air filter"}
MEG_WORDS = {"meg", "megs", "megger", "megged", "megohm", "megohms", "insulation", "megging"}
VACUUM_WORDS = {"vacuum", "micron", "microns", "vac", "evacuate", "evacuated", "evacuating", "vacuumed"}
PRESSURE_WORDS = {"nitrogen", "nitro", "psi", "pressurized", "bubbles"}
ALWAYS = {Quantity.VOLTAGE, Quantity.CURRENT, Quantity.TEMPERATURE, Quantity.PRESSURE}
UNKNOWN_NOUN = ("temperature", "current", "voltage", "resistance", "pressure")
SUPPLY = ((20, 32), (100, 130), (195, 255), (260, 300), (330, 480), (540, 640))
LOOK_BACK_MENTIONS = 20
LOOK_AHEAD_TOKENS = 14
RANK = {name: n for n, name in enumerate((
    "right before", "tied after", "inside", "clause before", "right after", "clause after", "sentence before", "one back",
    "sentence after", "two back", "few back", "far back", "next sentence"))}
# A unit that only one subject has.
OWN_SUBJECT = {"micron": ("system",)}


QUANTITY_WORDS = frozenset("temp temps temperature temperatures pressure pressures voltage volts amps level reading flow net gauge draw".split())


def subject_word(scene: Scene, subject: str, mention: Mention | None) -> str:
    """The subject as the draft carries it: a vocabulary word, or for other things the noun that was said."""
    known = subjects().get(subject)
    if known is None or not known.noun or mention is None:
        return subject
    words = [w for w in scene.passage.norms[mention.span.start : mention.span.end] if w.isalpha()]
    while len(words) > 1 and words[-1] in QUANTITY_WORDS:
        words.pop()
    while len(words) > 1 and words[0] in ("the", "in", "at", "net", "of", "my", "a"):
        words.pop(0)
    said = " ".join(words)
    if said.endswith("s") and not said.endswith(("ss", "us")) and len(said) > 4:
        said = said[:-1]
    return said if said and said not in QUANTITY_WORDS else subject


def unit_for(scene: Scene, figure: Figure, subject: str, quantity: Quantity, story: Story) -> str | None:
    """The unit meant where none was said: the one used before for the same thing, else the usual one."""
    if subject == "system" and quantity is Quantity.PRESSURE:
        return _vacuum_or_pressure(scene, figure)
    known = story.units.get((subject, quantity))
    if known is not None and quantity not in (Quantity.CURRENT, Quantity.VOLTAGE, Quantity.RESISTANCE) and usual(figure, known, quantity, subject):
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
        if known == "kohm" and story.unit == "kohm" and story.subject == subject:
            return "kohm"
    if quantity is Quantity.PRESSURE:
        if (subject in GAS and (scene.gas_heat or subject in ("duct", "supply air", "return air", "air filter"))) or (
            subject == "pressure switch" and figure.middle < 5 and scene.gas_heat):
            return "inWC"
        return "kPa" if scene.metric and "kpa" in scene.passage.norms else "psig"
    if quantity is Quantity.FLOW and subject in subjects() and (subjects()[subject].kind == "water" or subject == "pump"):
        return "gpm"
    if quantity is Quantity.TEMPERATURE and scene.metric:
        return "degC"
    if quantity is Quantity.TEMPERATURE_DIFFERENCE and scene.metric:
        return "delta_degC"
    return quantity_rows()[quantity].unit


def _vacuum_or_pressure(scene: Scene, figure: Figure) -> str:
    """Microns or psig: by which of vacuum and nitrogen was spoken of last."""
    norms = scene.passage.norms
    for at in range(min(len(norms) - 1, figure.span.end + 3), max(-1, figure.span.start - 160), -1):
        if norms[at] in VACUUM_WORDS:
            return "micron" if figure.middle >= 20 else "inHg"
        if norms[at] in PRESSURE_WORDS:
            break
    return "kPa" if scene.metric and "kpa" in norms else "psig"


def size(figure: Figure) -> str:
    """A coarse size of a figure."""
    value = abs(figure.middle)
    for limit, name in ((1, "<1"), (10, "<10"), (30, "<30"), (60, "<60"), (100, "<100"), (260, "<260"), (620, "<620"), (3000, "<3000")):
        if value < limit:
            return name
    return "big"


def decimal(figure: Figure) -> str:
    """Whether a figure has decimals."""
    return "dec" if figure.middle != int(figure.middle) else "int"


def usual(figure: Figure, unit: str | None, quantity: Quantity, subject: str) -> bool:
    """Whether the value is within the wide bounds of the subject, or of the quantity."""
    row = quantity_rows()[quantity]
    known = subjects().get(subject)
    values = (figure.middle, *figure.also)
    bounds = [(u, low, high) for u, low, high in (known.usual if known else ()) if unit and units()[u].dimension == units()[unit].dimension]
    if not bounds and row.unit:
        bounds = [(row.unit, row.low, row.high)]
    for own, low, high in bounds:
        if unit and units()[own].dimension == units()[unit].dimension:
            return any(low <= convert(v, unit, own) <= high for v in values)
    return True


def _distance(count: int) -> str:
    return "0" if count == 0 else "1" if count == 1 else "2" if count == 2 else "3+"


def _where(scene: Scene, figure: Figure, mention: Mention) -> str:
    """Where a mention stands, seen from the figure."""
    passage = scene.passage
    tokens = passage.tokens
    connect = load_table("connectors")["after"]
    here, there = tokens[figure.number.start], tokens[mention.span.start]
    if mention.span.end <= figure.number.start:
        apart = here.sentence - there.sentence
        if apart:
            return "one back" if apart == 1 else "two back" if apart == 2 else "few back" if apart <= 5 else "far back"
        gap = passage.norms[mention.span.end : figure.span.start]
        if len(gap) <= 2 and "and" not in gap and "," not in gap[:1]:
            return "right before"
        if there.clause == here.clause:
            return "clause before"
        return "right before" if gap == (",",) else "sentence before"
    if mention.span.start >= figure.number.end:
        same = there.sentence == here.sentence
        gap = passage.norms[figure.span.end : mention.span.start] if same else ()
        if same and len(gap) <= 5:
            if gap and gap[0] in connect["prepositions"] and all(w in connect["articles"] or w in connect["prepositions"] or passage.tokens[figure.span.end].is_word for w in gap[1:3]):
                return "tied after"
            if not gap:
                return "right after"
        if there.clause == here.clause:
            return "clause after"
        return "sentence after" if same else "next sentence"
    return "inside"


def common_signs(scene: Scene, index: int, figure: Figure, story: Story) -> dict[str, bool]:
    """What the words that lead to a figure say whatever it is about."""
    passage = scene.passage
    back_words = load_table("connectors")["back"]["pronouns"]
    lead = scene.lead(figure)
    words = [passage.norm(i) for i in range(*lead)]
    before = index > 0 and scene.figures[index - 1] is story.figure
    gap = [passage.norm(i) for i in range(story.figure.span.end, figure.span.start)] if story.figure and before else ["?"]
    same_sentence = bool(story.figure) and passage.tokens[story.figure.span.start].sentence == passage.tokens[figure.span.start].sentence  # type: ignore[union-attr]
    return {
        "after a time": after_a_time(scene, index, figure),
        "pronoun": any(w in back_words for w in words[:4]) or (len(words) <= 3 and any(w in back_words for w in words)),
        "listed": before and len(gap) <= 3 and all(w in (",", "and", "then", "to", "uh", "um", "or", ".") for w in gap),
        "place": any(p.alone and lead[0] <= p.span.start and p.span.end <= figure.span.start and figure.span.start - p.span.end <= 6 for p in scene.places),
        "bare": not words or all(w in (",", "and", "uh", "um", "so", "at", "is", "then", "now") for w in words),
        "same sentence": same_sentence,
    }


def after_a_time(scene: Scene, index: int, figure: Figure) -> bool:
    """Whether a time of day or a duration right before it makes the figure a point of a series."""
    if index == 0 or figure.units and not set(figure.units) & {"degF", "degC", "psig", "micron"}:
        return False
    before = scene.figures[index - 1]
    apart = figure.span.start - before.span.end
    if apart > 6 or scene.mentions_after(before.span.end, figure.span.start):
        return False
    aside = scene.asides.get(index - 1)
    timed = aside is not None and aside.minutes is not None
    return timed or bool(set(before.units) & {"min", "h"})


def candidates(scene: Scene, index: int, figure: Figure, story: Story, quantity: Quantity) -> list[Candidate]:
    """All subjects that are worth weighing for a figure of a quantity, each with its signs and unit."""
    sentence = scene.sentence(figure)
    near: dict[str, tuple[Mention | None, str]] = {}
    back = scene.mentions_before(figure.number.start, LOOK_BACK_MENTIONS)
    ahead = scene.mentions_after(figure.number.start, min(sentence.end, figure.span.end + LOOK_AHEAD_TOKENS))
    for mention in ahead + back:
        where = _where(scene, figure, mention)
        for name in (mention.subject, *(o for o in mention.options if mention.open)):
            old = near.get(name)
            if old is None or RANK[where] < RANK[old[1]]:
                near[name] = (mention, where)
    for name in (story.subject, story.series[0] if story.series else None):
        if name and name not in near:
            near[name] = (None, "carried")
    last = story.by_quantity.get(quantity)
    if last and last not in near:
        near[last] = (None, "carried by quantity")
    for name in quantity_rows()[quantity].subjects:
        near.setdefault(name, (None, "implied"))
    for name in story.recent:
        near.setdefault(name, (None, "filed lately"))
    own = {s for u in figure.units for s in OWN_SUBJECT.get(u, ())}
    if own and len(figure.units) == 1:
        near = {n: v for n, v in near.items() if n in own} or {n: (None, "implied") for n in own}
    common = common_signs(scene, index, figure, story)
    found = []
    for name, (mention, where) in sorted(near.items()):
        known = subjects().get(name)
        if known is not None and known.kind == "work" and quantity not in (Quantity.DURATION, Quantity.LENGTH, Quantity.COUNT):
            continue
        unit = choose_unit(scene, figure, name, quantity, story)
        signs = _subject_signs(scene, figure, story, name, mention, where, common, (quantity, unit), ahead + back)
        found.append(Candidate(name, mention, where, tuple(signs), quantity, unit))
    return found


def choose_unit(scene: Scene, figure: Figure, subject: str, quantity: Quantity, story: Story) -> str | None:
    """The spoken unit of this quantity, or the one that is meant."""
    said = [u for q, u in spoken_pairs(scene, figure) if q == quantity]
    if not said:
        return unit_for(scene, figure, subject, quantity, story)
    if len(said) == 1:
        return said[0]
    if "inWC" in said and "inHg" in said:
        words = set(scene.passage.norms[max(0, figure.span.start - 12) : figure.span.end + 6])
        return "inHg" if words & {"vacuum", "suction", "compound", "mercury"} or subject in ("system", "suction pressure") else "inWC"
    return said[0]


def spoken_pairs(scene: Scene, figure: Figure) -> list[tuple[Quantity, str]]:
    """What the spoken unit may mean, as quantity and unit."""
    spoken: list[tuple[Quantity, str]] = [(units()[name].quantity, name) for name in figure.units]
    if "%" in figure.units:
        lead, after = scene.lead(figure), (figure.span.end, figure.span.end + 5)
        if scene.hits("q:humidity", *lead) or scene.hits("q:humidity", *after):
            spoken = [(Quantity.HUMIDITY, "%")]
        elif any(scene.hits(f"of:{name}", *span) for span in (lead, after) for name in ("CO2", "O2", "glycol", "chlorine")):
            spoken.append((Quantity.CONCENTRATION, "%"))
    if {"degF", "degC"} <= set(figure.units):
        drop = "degF" if scene.metric else "degC"
        spoken = [(q, u) for q, u in spoken if not u.endswith(drop)]
    return spoken


# Quantities that are hardly ever meant where no unit and no cue word was said.
RARELY_UNSAID = {Quantity.DURATION, Quantity.CONCENTRATION, Quantity.FREQUENCY, Quantity.LENGTH, Quantity.VOLUME, Quantity.MASS, Quantity.COUNT,
                 Quantity.SPEED, Quantity.FLOW, Quantity.VELOCITY, Quantity.POWER, Quantity.PERCENTAGE, Quantity.HUMIDITY, Quantity.ACIDITY}
STRONG = {"current": ("amps", "amp", "amperage", "rla", "fla", "lra", "mca", "mocp", "pulling", "drawing", "draws", "pulls"), "voltage": ("volts", "voltage", "volt"),
          "resistance": ("ohms", "ohm", "ohmed"), "power": ("watts", "watt", "kilowatts"), "capacitance": ("microfarads", "mfd"), "speed": ("rpm",)}


def quantities_open(scene: Scene, figure: Figure, story: Story) -> list[Quantity]:
    """The quantities that a figure may be: those of its unit, or all that are meant without one."""
    if figure.units:
        return list(dict.fromkeys(q for q, _ in spoken_pairs(scene, figure)))
    lead, clause = scene.lead(figure), scene.clause(figure)
    words = scene.passage.norms[max(lead[0], clause.start) : figure.span.start]
    strong = [Quantity(q) for q, says in STRONG.items() if any(w in says for w in words)]
    if len(strong) == 1:
        return strong
    cues = {q for q in quantity_rows() if scene.hits(f"q:{q}", *lead)}
    nearest = scene.mentions_before(figure.number.start, 1)
    own = {quantities_of(m.subject)[0] for m in nearest if quantities_of(m.subject)}
    return [q for q in Quantity if q not in RARELY_UNSAID or q in cues or q == story.quantity or q in own]


def _fits(name: str, quantities: set[Quantity]) -> str:
    """How usual the best of some quantities is for a subject."""
    if name not in subjects():
        return "unknown noun"
    listed = quantities_of(name)
    places = [listed.index(q) for q in quantities if q in listed]
    if not places:
        return "never"
    return "first" if min(places) == 0 else "listed"


def _subject_signs(
    scene: Scene, figure: Figure, story: Story, name: str, mention: Mention | None, where: str, common: dict[str, bool],
    pair: tuple[Quantity, str | None], others: list[Mention],
) -> list[str]:
    quantity, unit = pair
    said = "unit said" if figure.units else "no unit"
    wanted = {quantity}
    fits = _fits(name, wanted)
    signs = [f"where:{where}|{said}", f"fits:{fits}|{said}", f"where:{where}|{fits}|{said}"]
    if not usual(figure, unit, quantity, name):
        signs.append(f"value:unusual|{said}")
    if mention is not None:
        low, high = sorted((mention.span.end, figure.span.start))
        between = _distance(scene.figures_between(low, high))
        rivals = [m for m in others if low <= m.span.start < high and m is not mention and m.subject != name
                  and _fits(m.subject, wanted) != "never"]
        signs += [f"where:{where}|figures {between}", f"where:{where}|rivals {_distance(len(rivals))}"]
        if mention.open:
            signs.append("named:open" if mention.subject == name else "named:open, second choice")
        elif mention.weak:
            signs.append("named:shared word")
        if mention.misheard:
            signs.append("named:misheard")
        if name == "unit":
            signs.append(f"named:whole machine|{said}")
        if story.mention is mention and story.where in ("tied after", "right after", "clause after"):
            signs.append("named:belongs to the figure before")
        signs += _standing(scene, mention, wanted)
        signs.append(f"parse:{_parsed(scene, figure, mention)}")
    elif name in subjects():
        signs.append(f"{where}:{name}|{quantity}")
    same = story.subject == name
    signs += [f"{key}:{'same as before' if same else 'other than before'}|{'named' if mention else 'not named'}" for key, on in common.items() if on]
    if story.subject is not None and (common["same sentence"] or common["listed"]):
        signs.append(f"after {story.subject}:{name}")
    if common["after a time"] and story.series is not None:
        signs.append("series:same" if (name, quantity) == story.series else "series:other")
    if same:
        signs.append("subject:same as before")
    if name in story.recent:
        signs.append("subject:filed lately")
    if story.by_quantity.get(quantity) == name:
        signs.append("subject:same as last of quantity")
    if Qualifier.INRUSH in figure.qualifiers or Qualifier.LOCKED_ROTOR in figure.qualifiers:
        signs.append(f"inrush:{name if name in ('compressor', 'unit') else 'other'}")
    lead = scene.lead(figure)
    for word in ("RLA", "FLA", "LRA", "MCA", "MOCP"):
        if scene.hits(f"which:{word}", lead[0], figure.span.end + 3):
            signs.append(f"{word}:{name if name in ('compressor', 'unit') else 'other'}")
    for role in (Role.RATED, Role.SETPOINT):
        if scene.hits(f"role:{role}", *lead):
            signs.append(f"cue {role}:{name if name in ('unit', 'thermostat', 'controller', 'defrost timer', 'pressure switch') else 'other'}")
    if story.role is Role.RATED:
        signs.append(f"after a rated one:{'same' if same else 'unit' if name == 'unit' else 'other'}|{where if mention else 'not named'}")
    if quantity is Quantity.PRESSURE and name in ("suction pressure", "head pressure"):
        signs += _pair_of_pressures(scene, figure, story, name)
    if quantity is Quantity.DURATION:
        late = figure.span.start > 0.85 * len(scene.passage.tokens)
        signs += [f"time:{unit}|{name if name in ('labor', 'travel', 'run time', 'defrost timer', 'time delay') else 'other'}|{'late' if late else 'early'}"]
    signs.append(f"kind:{subjects()[name].kind if name in subjects() else 'noun'}|{said}")
    return signs


HINTS = {"temp": "temperature", "temps": "temperature", "temperature": "temperature", "pressure": "pressure", "voltage": "voltage", "amps": "current", "volts": "voltage", "ohms": "resistance", "draw": "current", "watts": "power", "resistance": "resistance", "amp": "current", "gauge": "pressure", "time": "duration", "pressures": "pressure"}
WINDINGS = {"common to run", "common to start", "run to start", "start to run", "c to r", "c to s", "r to s", "s to r", "winding", "windings"}
PREPOSITIONS = {"by", "at", "on", "in", "of", "from", "to", "under", "behind", "near", "beside", "with", "for", "into", "off", "through", "before", "after", "across"}


def hint_of(scene: Scene, mention: Mention) -> str | None:
    """The quantity that the words of a mention name: "suction line temp", "common to run"."""
    words = scene.passage.norms[mention.span.start : mention.span.end]
    if " ".join(words) in WINDINGS:
        return "resistance"
    return next((HINTS[w] for w in (*words, scene.passage.norm(mention.span.end)) if w in HINTS), None)


def _parsed(scene: Scene, figure: Figure, mention: Mention) -> str:
    """How spaCy's parse ties a mention to a figure."""
    doc = scene.talk.doc
    if max(figure.number.end, mention.span.end) > len(doc):
        return "none"
    number, noun = doc[figure.number.end - 1], doc[mention.span.end - 1]
    if abs(number.i - noun.i) > 40 or scene.passage.tokens[number.i].sentence != scene.passage.tokens[noun.i].sentence:
        return "apart"
    up, steps = number, 0
    path = {number.i: 0}
    while up.head.i != up.i and steps < 8:
        up, steps = up.head, steps + 1
        path[up.i] = steps
    down, climb = noun, 0
    while down.i not in path and down.head.i != down.i and climb < 8:
        down, climb = down.head, climb + 1
    if down.i not in path:
        return "no path"
    last = noun
    while last.head.i != down.i and last.head.i != last.i and last.i != down.i:
        last = last.head
    return f"{last.dep_ if climb else 'above'}|{min(path[down.i], 3)}|{min(climb, 3)}"


def _standing(scene: Scene, mention: Mention, wanted: set[Quantity]) -> list[str]:
    """How a mention stands in its own sentence."""
    passage, span = scene.passage, mention.span
    signs: list[str] = []
    hint = hint_of(scene, mention)
    if hint is not None and wanted:
        signs.append("hint:fits" if hint in wanted else "hint:other")
    before, after = passage.norm(span.start - 1), passage.norm(span.end)
    if before in ("the", "a", "my", "this", "that", "his", "her", "their"):
        before = passage.norm(span.start - 2)
    if before in PREPOSITIONS:
        signs.append("named:after preposition")
    if after in ("'s", "is", "was", "are", "were", "reads", "read", "says", "at", "pulling", "pulls", "drawing", "had", "has", ","):
        signs.append("named:speaks")
    if not scene.mentions_after(passage.sentence_span(span.start).start, span.start):
        signs.append("named:first in sentence")
    return signs


def _pair_of_pressures(scene: Scene, figure: Figure, story: Story, name: str) -> list[str]:
    """ "Gauges 11 and 135": of two figures in one breath the smaller is the suction."""
    index = scene.figures.index(figure)
    signs = []
    if index + 1 < len(scene.figures):
        after = scene.figures[index + 1]
        if scene.passage.norm(figure.span.end) == "over" and after.span.start - figure.span.end <= 2:
            first = "head pressure" if figure.middle > after.middle else "suction pressure"
            signs.append("pair of pressures:" + ("over" if name == first else "not over"))
        elif after.span.start - figure.span.end <= 3 and not after.units and not figure.units and after.middle > 1.8 * figure.middle > 0:
            signs.append("pair of pressures:" + ("suction first" if name == "suction pressure" else "head first"))
    if index > 0 and story.figure is scene.figures[index - 1] and figure.span.start - story.figure.span.end <= 3 and story.subject in ("suction pressure", "head pressure"):
        signs.append("pair of pressures:" + ("other side" if name != story.subject else "same side"))
    return signs


_DIFFERENCE = ("of super", "of sub", "split", "rise", "drop", "apart", "over", "under", "difference", "off", "warmer", "colder", "above", "below", "of s", "higher", "lower", "td")


def quantity_signs(scene: Scene, index: int, figure: Figure, story: Story) -> list[tuple[Quantity, tuple[str, ...]]]:
    """The signs of each quantity that a figure may be."""
    lead, trail = scene.lead(figure), scene.trail(figure)
    said = bool(figure.units)
    common = common_signs(scene, index, figure, story)
    nearest: dict[str, Mention] = {}
    back = scene.mentions_before(figure.number.start, 8)
    ahead = scene.mentions_after(figure.number.start, min(scene.sentence(figure).end, figure.span.end + 8))
    for mention in back + ahead:
        nearest.setdefault(_where(scene, figure, mention), mention)
    tied = min(nearest, key=lambda w: RANK[w], default="")
    ahead_units = set() if said else _listed_ahead(scene, index)
    found = []
    for quantity in quantities_open(scene, figure, story):
        unit = next((u for q, u in spoken_pairs(scene, figure) if q == quantity), quantity_rows()[quantity].unit)
        signs = [f"is {quantity}", f"is {quantity}|{'said' if said else 'not said'}"]
        for where, mention in nearest.items():
            fits = _fits(mention.subject, {quantity})
            ok = usual(figure, unit, quantity, mention.subject)
            signs.append(f"q {where}:{fits}|{'takes it' if ok else 'does not'}")
            if where == tied:
                signs += [f"q nearest:{fits}|{'takes it' if ok else 'does not'}", f"q nearest {mention.subject}:{quantity}"]
                hint = hint_of(scene, mention)
                if hint is not None:
                    signs.append("q names it" if hint == quantity else "q names another")
        if not usual(figure, unit, quantity, ""):
            signs.append("q value unusual")
        if scene.hits(f"q:{quantity}", *lead):
            signs.append("q cue before")
        elif scene.hits(f"q:{quantity}", scene.clause(figure).start, figure.span.start):
            signs.append("q cue in clause")
        if scene.hits(f"q:{quantity}", trail[0], min(trail[1], trail[0] + 5)):
            signs.append("q cue after")
        for key, on in common.items():
            if on and story.quantity is not None:
                signs.append(f"q {key}:{'as before' if story.quantity == quantity else 'other'}")
        if story.quantity == quantity:
            signs.append("q as before")
        if story.quantity is not None:
            signs.append(f"q {story.quantity} then {quantity}|{'listed' if common['listed'] else 'sentence' if common['same sentence'] else 'later'}")
        if ahead_units:
            signs.append("q unit ahead:fits" if quantity in ahead_units else "q unit ahead:other")
        if story.series is not None and common["after a time"]:
            signs.append("q series:same" if quantity == story.series[1] else "q series:other")
        if not said:
            signs += [f"size:{quantity}|{size(figure)}|{decimal(figure)}", f"form:{quantity}|{'pair' if figure.form in ('pair', 'clock') else 'other'}"]
            signs += [f"q cue {role}|{quantity}" for role in Role if scene.hits(f"role:{role}", *lead)]
            if scene.passage.norm(figure.span.end) in ("over", "and") or figure.over:
                signs.append(f"q over:{quantity}")
        if quantity is Quantity.VOLTAGE:
            signs.append("supply:like one" if any(low <= figure.middle <= high for low, high in SUPPLY) else "supply:not like one")
        if Qualifier.INRUSH in figure.qualifiers or Qualifier.LOCKED_ROTOR in figure.qualifiers:
            signs.append("q inrush:current" if quantity is Quantity.CURRENT else "q inrush:other")
        if said:
            signs += _unit_signs(scene, figure, nearest[tied].subject if tied else "", quantity, unit)
        found.append((quantity, tuple(signs)))
    return found


def _listed_ahead(scene: Scene, index: int) -> set[Quantity]:
    """The quantities of the unit that closes a list: "460, 458 and 461 volts"."""
    figures = scene.figures
    for step in range(index, min(index + 3, len(figures) - 1)):
        gap = [scene.passage.norm(i) for i in range(figures[step].span.end, figures[step + 1].span.start)]
        if len(gap) > 2 or not all(w in (",", "and", "or", "uh", "by") for w in gap):
            break
        if figures[step + 1].units:
            return {units()[u].quantity for u in figures[step + 1].units}
    return set()


def _unit_signs(scene: Scene, figure: Figure, name: str, quantity: Quantity, unit: str | None) -> list[str]:
    """Signs that tell the meanings of one spoken unit apart."""
    signs = []
    if {"degF", "degC"} & set(figure.units):
        tail = " ".join(scene.passage.norm(figure.span.end + k) for k in range(4))
        signs.append(f"degrees:{quantity}|{'difference worded' if any(w in tail for w in _DIFFERENCE) else 'bare'}|{'difference' if name in ('superheat', 'subcooling', 'split', 'rise') else 'thing'}")
    if {"lb", "psig"} <= set(figure.units):
        mass = bool(scene.hits("q:mass", *scene.lead(figure)) or scene.hits("q:mass", figure.span.end, figure.span.end + 5))
        signs.append(f"pounds:{quantity}|{size(figure)}|{'mass word' if mass else 'no mass word'}")
        signs.append(f"pounds:{quantity}|{subjects()[name].kind if name in subjects() else 'noun'}")
    if len(figure.units) > 1 and "uF" in figure.units:
        signs.append(f"mikes:{unit}|{size(figure)}")
    if len(figure.units) > 1 and "inHg" in figure.units:
        signs += [f"inches:{unit}|{size(figure)}", f"inches:{unit}|{'gas' if name in GAS else 'length' if name in ('air filter', 'door gasket', 'pulley', 'belt', 'door') else 'other'}"]
    if "%" in figure.units:
        signs.append(f"percent:{quantity}|{'damp' if scene.hits('q:humidity', *scene.lead(figure)) or scene.hits('q:humidity', figure.span.end, figure.span.end + 4) else 'dry'}")
    return signs
