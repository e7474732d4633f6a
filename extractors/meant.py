"""What was filed so far, and what is meant where no unit was said."""

from __future__ import annotations

from dataclasses import dataclass, field

from extractors.facts import Quantity, Role
from extractors.figure import Figure
from extractors.mentions import Mention, quantities_of, subjects
from extractors.reader import WORTH_A_LOOK
from extractors.scene import Scene, quantity_rows
from extractors.units import convert, units

ECHO = 30
"""Words after which a figure said again is no echo any more."""
REMEMBERED = 5


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
    lately: list[tuple[Figure, str, Quantity]] = field(default_factory=list)
    """The last figures with what they were filed as, the latest first."""

    def echoed(self, figure: Figure) -> tuple[str, Quantity] | None:
        """What a figure said a moment ago was filed as, where this one says it again: "236? 236, yeah"."""
        for before, subject, quantity in self.lately:
            apart = figure.span.start - before.span.end
            same = (before.value, before.low, before.high) == (figure.value, figure.low, figure.high)
            if (
                same
                and apart <= ECHO
                and (not figure.units or not before.units or set(figure.units) & set(before.units))
            ):
                return subject, quantity
        return None


GAS = {
    "gas supply",
    "manifold",
    "gas valve",
    "flue",
    "duct",
    "inducer motor",
    "heat exchanger",
    "burner",
    "supply air",
    "return air",
    "air filter",
}
MEG_WORDS = {"meg", "megs", "megger", "megged", "megohm", "megohms", "insulation", "megging"}
VACUUM_WORDS = {"vacuum", "micron", "microns", "vac", "evacuate", "evacuated", "evacuating", "vacuumed"}
PRESSURE_WORDS = {"nitrogen", "nitro", "psi", "pressurized", "bubbles"}
SUPPLY = ((20, 32), (100, 130), (195, 255), (260, 300), (330, 480), (540, 640))
# A unit that only one subject has.
OWN_SUBJECT = {"micron": ("system",)}


QUANTITY_WORDS = frozenset(
    [
        "temp",
        "temps",
        "temperature",
        "temperatures",
        "pressure",
        "pressures",
        "voltage",
        "volts",
        "amps",
        "level",
        "reading",
        "flow",
        "net",
        "gauge",
        "draw",
    ]
)


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
    if quantity is Quantity.CONCENTRATION and (gas := _gas(scene, figure)) is not None:
        return "ppm" if gas == "CO" or figure.middle > MOST_OXYGEN else "%"
    known = story.units.get((subject, quantity))
    if (
        known is not None
        and quantity not in (Quantity.CURRENT, Quantity.VOLTAGE, Quantity.RESISTANCE)
        and usual(figure, known, quantity, subject)
    ):
        return known
    own = subjects().get(subject)
    if own is not None:
        for name, unit in own.units:
            if name == quantity:
                return unit
    if quantity is Quantity.RESISTANCE:
        start = max(scene.sentence(figure).start, figure.span.start - 14)
        if set(scene.passage.norms[start : figure.span.end + 3]) & MEG_WORDS:
            return "Mohm"
        if known == "kohm":
            return "kohm"
    if quantity is Quantity.PRESSURE:
        if (subject in GAS and (scene.gas_heat or subject in ("duct", "supply air", "return air", "air filter"))) or (
            subject == "pressure switch" and figure.middle < 5 and scene.gas_heat
        ):
            return "inWC"
        return "kPa" if scene.metric and "kpa" in scene.passage.norms else "psig"
    if (
        quantity is Quantity.FLOW
        and subject in subjects()
        and (subjects()[subject].kind == "water" or subject == "pump")
    ):
        return "gpm"
    if quantity is Quantity.TEMPERATURE and scene.metric:
        return "degC"
    if quantity is Quantity.TEMPERATURE_DIFFERENCE and scene.metric:
        return "delta_degC"
    return quantity_rows()[quantity].unit


MOST_OXYGEN = 21.0
"""Percent of oxygen in plain air; what is told of flue gas in percent is below it."""


def _gas(scene: Scene, figure: Figure) -> str | None:
    """Which gas of a flue was named last before a figure; carbon monoxide is told in parts per million."""
    start, _ = scene.lead(figure)
    hits = [
        (hit.span.start, name)
        for name in ("O2", "CO2", "CO")
        for hit in scene.hits(f"of:{name}", start, figure.span.start)
    ]
    return max(hits)[1] if hits else None


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
    for limit, name in (
        (1, "<1"),
        (10, "<10"),
        (30, "<30"),
        (60, "<60"),
        (100, "<100"),
        (260, "<260"),
        (620, "<620"),
        (3000, "<3000"),
    ):
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
    bounds = [
        (u, low, high)
        for u, low, high in (known.usual if known else ())
        if unit and units()[u].dimension == units()[unit].dimension
    ]
    if not bounds and row.unit:
        bounds = [(row.unit, row.low, row.high)]
    for own, low, high in bounds:
        if unit and units()[own].dimension == units()[unit].dimension:
            return any(low <= convert(v, unit, own) <= high for v in values)
    return True


def choose_unit(scene: Scene, figure: Figure, subject: str, quantity: Quantity, story: Story) -> str | None:
    """The spoken unit of this quantity, or the one that is meant."""
    said = [u for q, u in spoken_pairs(scene, figure) if q == quantity]
    if not said:
        return unit_for(scene, figure, subject, quantity, story)
    if len(said) == 1:
        return said[0]
    if "inWC" in said and "inHg" in said:
        words = set(scene.passage.norms[max(0, figure.span.start - 12) : figure.span.end + 6])
        return (
            "inHg"
            if words & {"vacuum", "suction", "compound", "mercury"} or subject in ("system", "suction pressure")
            else "inWC"
        )
    return said[0]


def spoken_pairs(scene: Scene, figure: Figure) -> list[tuple[Quantity, str]]:
    """What the spoken unit may mean, as quantity and unit."""
    spoken: list[tuple[Quantity, str]] = [(units()[name].quantity, name) for name in figure.units]
    if "%" in figure.units:
        lead, after = scene.lead(figure), (figure.span.end, figure.span.end + 5)
        if scene.hits("q:humidity", *lead) or scene.hits("q:humidity", *after):
            spoken = [(Quantity.HUMIDITY, "%")]
        elif any(
            scene.hits(f"of:{name}", *span) for span in (lead, after) for name in ("CO2", "O2", "glycol", "chlorine")
        ):
            spoken.append((Quantity.CONCENTRATION, "%"))
    if {"degF", "degC"} <= set(figure.units):
        drop = "degF" if scene.metric else "degC"
        spoken = [(q, u) for q, u in spoken if not u.endswith(drop)]
    return spoken


# Quantities that are hardly ever meant where no unit and no cue word was said.
RARELY_UNSAID = {
    Quantity.DURATION,
    Quantity.CONCENTRATION,
    Quantity.FREQUENCY,
    Quantity.LENGTH,
    Quantity.VOLUME,
    Quantity.MASS,
    Quantity.COUNT,
    Quantity.SPEED,
    Quantity.FLOW,
    Quantity.VELOCITY,
    Quantity.POWER,
    Quantity.PERCENTAGE,
    Quantity.HUMIDITY,
    Quantity.ACIDITY,
}
STRONG = {
    "current": ("amps", "amp", "amperage", "rla", "fla", "lra", "mca", "mocp", "pulling", "drawing", "draws", "pulls"),
    "voltage": ("volts", "voltage", "volt"),
    "resistance": ("ohms", "ohm", "ohmed"),
    "power": ("watts", "watt", "kilowatts"),
    "capacitance": ("microfarads", "mfd"),
    "speed": ("rpm",),
    "concentration": ("co", "monoxide", "oxygen", "ppm"),
}


def quantities_open(scene: Scene, index: int, story: Story) -> list[Quantity]:
    """The quantities that a figure may be: those of its unit, or all that are meant without one."""
    figure = scene.figures[index]
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
    cues |= {q for q in RARELY_UNSAID if scene.impressions[index].quantity.get(q, 0.0) >= WORTH_A_LOOK}
    return [q for q in Quantity if q not in RARELY_UNSAID or q in cues or q == story.quantity or q in own]
