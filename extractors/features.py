"""The signs by which a figure is filed: where a subject was named, how the value fits, what the words beside it say."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.facts import Qualifier, Quantity, Role
from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.meant import OWN_SUBJECT, Story, choose_unit, usual
from extractors.mentions import Mention, quantities_of, subjects
from extractors.reader import WORTH_A_LOOK, share_word
from extractors.scene import Scene, quantity_rows


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


LOOK_BACK_MENTIONS = 20
LOOK_AHEAD_TOKENS = 14
RANK = {
    name: n
    for n, name in enumerate(
        (
            "tied by of",
            "right before",
            "tied after",
            "inside",
            "clause before",
            "right after",
            "clause after",
            "sentence before",
            "one back",
            "sentence after",
            "two back",
            "few back",
            "far back",
            "next sentence",
        )
    )
}


def _distance(count: int) -> str:
    return "0" if count == 0 else "1" if count == 1 else "2" if count == 2 else "3+"


def where_is(scene: Scene, figure: Figure, mention: Mention) -> str:
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
        if gap == ("of",):
            return "tied by of"
        if same and len(gap) <= 5:
            if (
                gap
                and gap[0] in connect["prepositions"]
                and all(
                    w in connect["articles"] or w in connect["prepositions"] or passage.tokens[figure.span.end].is_word
                    for w in gap[1:3]
                )
            ):
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
    gap = (
        [passage.norm(i) for i in range(story.figure.span.end, figure.span.start)] if story.figure and before else ["?"]
    )
    same_sentence = scene.same_sentence(figure, story.figure)
    return {
        "after a time": after_a_time(scene, index, figure),
        "pronoun": any(w in back_words for w in words[:4]) or (len(words) <= 3 and any(w in back_words for w in words)),
        "listed": before and len(gap) <= 3 and all(w in (",", "and", "then", "to", "uh", "um", "or", ".") for w in gap),
        "place": any(
            p.alone
            and lead[0] <= p.span.start
            and p.span.end <= figure.span.start
            and figure.span.start - p.span.end <= 6
            for p in scene.places
        ),
        "bare": not words or all(w in (",", "and", "uh", "um", "so", "at", "is", "then", "now") for w in words),
        "same sentence": same_sentence,
    }


def after_a_time(scene: Scene, index: int, figure: Figure) -> bool:
    """Whether a time of day or a duration right before it makes the figure a point of a series."""
    if index == 0 or (figure.units and not set(figure.units) & {"degF", "degC", "psig", "micron"}):
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
        where = where_is(scene, figure, mention)
        for name in (mention.subject, *(o for o in mention.options if mention.open)):
            old = near.get(name)
            if old is None or RANK[where] < RANK[old[1]]:
                near[name] = (mention, where)
    for carried in (story.subject, story.series[0] if story.series else None):
        if carried and carried not in near:
            near[carried] = (None, "carried")
    last = story.by_quantity.get(quantity)
    if last and last not in near:
        near[last] = (None, "carried by quantity")
    for name in quantity_rows()[quantity].subjects:
        near.setdefault(name, (None, "implied"))
    for name in story.recent:
        near.setdefault(name, (None, "filed lately"))
    for name, share in scene.impressions[index].subject.items():
        if share >= WORTH_A_LOOK:
            near.setdefault(name, (None, "read"))
    own = {s for u in figure.units for s in OWN_SUBJECT.get(u, ())}
    if own and len(figure.units) == 1:
        near = {n: v for n, v in near.items() if n in own} or dict.fromkeys(own, (None, "implied"))
    common = common_signs(scene, index, figure, story)
    found = []
    for name, (named, where) in sorted(near.items()):
        known = subjects().get(name)
        if (
            known is not None
            and known.kind == "work"
            and quantity not in (Quantity.DURATION, Quantity.LENGTH, Quantity.COUNT)
        ):
            continue
        unit = choose_unit(scene, figure, name, quantity, story)
        signs = _subject_signs(scene, figure, story, name, named, where, common, (quantity, unit), ahead + back)
        signs.append(_impression(scene, index, name, named))
        found.append(Candidate(name, named, where, tuple(signs), quantity, unit))
    return found


def _impression(scene: Scene, index: int, name: str, mention: Mention | None) -> str:
    """What the reading model thinks of a subject; it knows only those of the vocabulary."""
    told = scene.impressions[index].subject
    word = share_word(told[name]) if name in told else "unknown"
    return f"reader:subject {word}|{'named' if mention is not None else 'not named'}"


def fits(name: str, quantities: set[Quantity]) -> str:
    """How usual the best of some quantities is for a subject: first, listed, never, or an unknown noun."""
    if name not in subjects():
        return "unknown noun"
    listed = quantities_of(name)
    places = [listed.index(q) for q in quantities if q in listed]
    if not places:
        return "never"
    return "first" if min(places) == 0 else "listed"


def _subject_signs(
    scene: Scene,
    figure: Figure,
    story: Story,
    name: str,
    mention: Mention | None,
    where: str,
    common: dict[str, bool],
    pair: tuple[Quantity, str | None],
    others: list[Mention],
) -> list[str]:
    quantity, unit = pair
    said = "unit said" if figure.units else "no unit"
    wanted = {quantity}
    how = fits(name, wanted)
    signs = [f"where:{where}|{said}", f"fits:{how}|{said}", f"where:{where}|{how}|{said}"]
    if not usual(figure, unit, quantity, name):
        signs.append(f"value:unusual|{said}")
    if mention is not None:
        low, high = sorted((mention.span.end, figure.span.start))
        between = _distance(scene.figures_between(low, high))
        rivals = [
            m
            for m in others
            if low <= m.span.start < high
            and m is not mention
            and m.subject != name
            and fits(m.subject, wanted) != "never"
        ]
        signs += [f"where:{where}|figures {between}", f"where:{where}|rivals {_distance(len(rivals))}"]
        if mention.open:
            signs.append("named:open" if mention.subject == name else "named:open, second choice")
        elif mention.weak:
            signs.append("named:shared word")
        if mention.misheard:
            signs.append("named:misheard")
        if name == "unit":
            signs.append(f"named:whole machine|{said}")
        if story.mention is mention and story.where in ("tied by of", "tied after", "right after", "clause after"):
            signs.append("named:belongs to the figure before")
        signs += _standing(scene, mention, wanted)
        signs.append(f"parse:{_parsed(scene, figure, mention)}")
    elif name in subjects():
        signs.append(f"{where}:{name}|{quantity}")
    echoed = story.echoed(figure)
    if echoed is not None and echoed[1] is quantity:
        signs.append(f"echo:{'same' if echoed[0] == name else 'other'}|{'named' if mention else 'not named'}")
    same = story.subject == name
    signs += [
        f"{key}:{'same as before' if same else 'other than before'}|{'named' if mention else 'not named'}"
        for key, on in common.items()
        if on
    ]
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
            signs.append(f"cue {role}:{name if name in SET_OR_RATED else 'other'}")
    if story.role is Role.RATED:
        which = "same" if same else "unit" if name == "unit" else "other"
        signs.append(f"after a rated one:{which}|{where if mention else 'not named'}")
    if quantity is Quantity.PRESSURE and name in ("suction pressure", "head pressure"):
        signs += _pair_of_pressures(scene, figure, story, name)
    if quantity is Quantity.DURATION:
        late = "late" if figure.span.start > 0.85 * len(scene.passage.tokens) else "early"
        signs.append(f"time:{unit}|{name if name in TIMED else 'other'}|{late}")
    signs.append(f"kind:{subjects()[name].kind if name in subjects() else 'noun'}|{said}")
    return signs


SET_OR_RATED = frozenset(("unit", "thermostat", "controller", "defrost timer", "pressure switch"))
TIMED = frozenset(("labor", "travel", "run time", "defrost timer", "time delay"))
HINTS = {
    "temp": "temperature",
    "temps": "temperature",
    "temperature": "temperature",
    "pressure": "pressure",
    "voltage": "voltage",
    "amps": "current",
    "volts": "voltage",
    "ohms": "resistance",
    "draw": "current",
    "watts": "power",
    "resistance": "resistance",
    "amp": "current",
    "gauge": "pressure",
    "time": "duration",
    "pressures": "pressure",
}
WINDINGS = {
    "common to run",
    "common to start",
    "run to start",
    "start to run",
    "c to r",
    "c to s",
    "r to s",
    "s to r",
    "winding",
    "windings",
}
PREPOSITIONS = {
    "by",
    "at",
    "on",
    "in",
    "of",
    "from",
    "to",
    "under",
    "behind",
    "near",
    "beside",
    "with",
    "for",
    "into",
    "off",
    "through",
    "before",
    "after",
    "across",
}


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
    if after in (
        "'s",
        "is",
        "was",
        "are",
        "were",
        "reads",
        "read",
        "says",
        "at",
        "pulling",
        "pulls",
        "drawing",
        "had",
        "has",
        ",",
    ):
        signs.append("named:speaks")
    if not scene.mentions_after(passage.sentence_span(span.start).start, span.start):
        signs.append("named:first in sentence")
    return signs


def _pair_of_pressures(scene: Scene, figure: Figure, story: Story, name: str) -> list[str]:
    """Of two pressures in one breath the smaller is the suction: "gauges 11 and 135"."""
    index = scene.figures.index(figure)
    signs = []
    if index + 1 < len(scene.figures):
        after = scene.figures[index + 1]
        if scene.passage.norm(figure.span.end) == "over" and after.span.start - figure.span.end <= 2:
            first = "head pressure" if figure.middle > after.middle else "suction pressure"
            signs.append("pair of pressures:" + ("over" if name == first else "not over"))
        elif (
            after.span.start - figure.span.end <= 3
            and not after.units
            and not figure.units
            and after.middle > 1.8 * figure.middle > 0
        ):
            signs.append("pair of pressures:" + ("suction first" if name == "suction pressure" else "head first"))
    if (
        index > 0
        and story.figure is scene.figures[index - 1]
        and figure.span.start - story.figure.span.end <= 3
        and story.subject in ("suction pressure", "head pressure")
    ):
        signs.append("pair of pressures:" + ("other side" if name != story.subject else "same side"))
    return signs
