"""The signs by which a figure's quantity is told: the subjects near it, its size, cue words, what came before."""

from __future__ import annotations

from extractors.facts import Qualifier, Quantity, Role
from extractors.features import RANK, common_signs, fits, hint_of, where_is
from extractors.figure import Figure
from extractors.meant import GAS, SUPPLY, Story, decimal, quantities_open, size, spoken_pairs, usual
from extractors.mentions import Mention, subjects
from extractors.reader import share_word
from extractors.scene import Scene, quantity_rows
from extractors.units import units

_DIFFERENCE = (
    "of super",
    "of sub",
    "split",
    "rise",
    "drop",
    "apart",
    "over",
    "under",
    "difference",
    "off",
    "warmer",
    "colder",
    "above",
    "below",
    "of s",
    "higher",
    "lower",
    "td",
)


def quantity_signs(scene: Scene, index: int, figure: Figure, story: Story) -> list[tuple[Quantity, tuple[str, ...]]]:
    """The signs of each quantity that a figure may be."""
    lead, trail = scene.lead(figure), scene.trail(figure)
    said = bool(figure.units)
    common = common_signs(scene, index, figure, story)
    nearest: dict[str, Mention] = {}
    back = scene.mentions_before(figure.number.start, 8)
    ahead = scene.mentions_after(figure.number.start, min(scene.sentence(figure).end, figure.span.end + 8))
    for mention in back + ahead:
        nearest.setdefault(where_is(scene, figure, mention), mention)
    tied = min(nearest, key=lambda w: RANK[w], default="")
    echoed = story.echoed(figure)
    ahead_units = set() if said else _listed_ahead(scene, index)
    found = []
    for quantity in quantities_open(scene, index, story):
        unit = next((u for q, u in spoken_pairs(scene, figure) if q == quantity), quantity_rows()[quantity].unit)
        signs = [f"is {quantity}", f"is {quantity}|{'said' if said else 'not said'}"]
        signs.append(f"reader:quantity {share_word(scene.impressions[index].quantity.get(quantity, 0.0))}")
        for where, mention in nearest.items():
            how = fits(mention.subject, {quantity})
            ok = usual(figure, unit, quantity, mention.subject)
            signs.append(f"q {where}:{how}|{'takes it' if ok else 'does not'}")
            if where == tied:
                signs += [
                    f"q nearest:{how}|{'takes it' if ok else 'does not'}",
                    f"q nearest {mention.subject}:{quantity}",
                ]
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
        if echoed is not None:
            signs.append(f"q echo:{'same' if echoed[1] == quantity else 'other'}")
        if story.quantity is not None:
            how = "listed" if common["listed"] else "sentence" if common["same sentence"] else "later"
            signs.append(f"q {story.quantity} then {quantity}|{how}")
        if ahead_units:
            signs.append("q unit ahead:fits" if quantity in ahead_units else "q unit ahead:other")
        if story.series is not None and common["after a time"]:
            signs.append("q series:same" if quantity == story.series[1] else "q series:other")
        if not said:
            signs += [
                f"size:{quantity}|{size(figure)}|{decimal(figure)}",
                f"form:{quantity}|{'pair' if figure.form in ('pair', 'clock') else 'other'}",
            ]
            signs += [f"q cue {role}|{quantity}" for role in Role if scene.hits(f"role:{role}", *lead)]
            if scene.passage.norm(figure.span.end) in ("over", "and") or figure.over:
                signs.append(f"q over:{quantity}")
        if quantity is Quantity.VOLTAGE:
            signs.append(
                "supply:like one"
                if any(low <= figure.middle <= high for low, high in SUPPLY)
                else "supply:not like one"
            )
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


DIFFERENCES = ("superheat", "subcooling", "split", "rise")
MEASURED_BY_LENGTH = ("air filter", "door gasket", "pulley", "belt", "door")


def _unit_signs(scene: Scene, figure: Figure, name: str, quantity: Quantity, unit: str | None) -> list[str]:
    """Signs that tell the meanings of one spoken unit apart."""
    signs = []
    if {"degF", "degC"} & set(figure.units):
        tail = " ".join(scene.passage.norm(figure.span.end + k) for k in range(4))
        worded = "difference worded" if any(w in tail for w in _DIFFERENCE) else "bare"
        signs.append(f"degrees:{quantity}|{worded}|{'difference' if name in DIFFERENCES else 'thing'}")
    if {"lb", "psig"} <= set(figure.units):
        mass = bool(
            scene.hits("q:mass", *scene.lead(figure)) or scene.hits("q:mass", figure.span.end, figure.span.end + 5)
        )
        signs.append(f"pounds:{quantity}|{size(figure)}|{'mass word' if mass else 'no mass word'}")
        signs.append(f"pounds:{quantity}|{subjects()[name].kind if name in subjects() else 'noun'}")
    if len(figure.units) > 1 and "uF" in figure.units:
        signs.append(f"mikes:{unit}|{size(figure)}")
    if len(figure.units) > 1 and "inHg" in figure.units:
        what = "gas" if name in GAS else "length" if name in MEASURED_BY_LENGTH else "other"
        signs += [f"inches:{unit}|{size(figure)}", f"inches:{unit}|{what}"]
    if "%" in figure.units:
        near = (scene.lead(figure), (figure.span.end, figure.span.end + 4))
        damp = any(scene.hits("q:humidity", *stretch) for stretch in near)
        signs.append(f"percent:{quantity}|{'damp' if damp else 'dry'}")
    return signs
