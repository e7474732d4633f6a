"""The signs by which a figure is told to be a reading of the job at all."""

from __future__ import annotations

from extractors.facts import Role
from extractors.features import Candidate, common_signs
from extractors.figure import Figure
from extractors.meant import Story, decimal, size, usual
from extractors.reader import share_word
from extractors.scene import Scene, quantity_rows

NEAREST = tuple(
    f"{place}|{fits}"
    for place in (
        "tied by of",
        "right before",
        "tied after",
        "clause before",
        "right after",
        "clause after",
        "sentence before",
        "sentence after",
        "one back",
    )
    for fits in ("first", "listed")
)
SMALL_WORDS = frozenset(
    [
        "the",
        "a",
        "an",
        "these",
        "those",
        "all",
        "of",
        "to",
        "in",
        "on",
        "at",
        "is",
        "was",
        "it's",
        "it",
        "and",
        "or",
        "for",
        "from",
        "by",
        "with",
        "about",
        "like",
        "than",
        "that",
        "this",
        "both",
        "other",
        "next",
        "no",
        "another",
        "says",
        "said",
        "'s",
    ]
)


def reading_signs(scene: Scene, index: int, figure: Figure, found: list[Candidate], story: Story) -> tuple[str, ...]:
    """The signs of whether a figure is a reading of the job at all."""
    aside = scene.asides.get(index)
    common = common_signs(scene, index, figure, story)
    unit = "unit" if figure.units else "no unit"
    because = aside.because.split("“")[0].strip() if aside else "no aside"
    signs = [
        "is",
        f"is:unit {figure.units[0] if figure.units else 'none'}",
        f"is:aside {because}",
        f"is:aside {because}|{unit}",
        f"reader:reading {share_word(scene.impressions[index].is_reading)}",
    ]
    if figure.units:
        signs.append(f"is:{figure.form}|unit")
    else:
        signs += [f"is:{size(figure)}|{decimal(figure)}", f"is:{decimal(figure)}", f"is:{figure.form}"]
    near = {w for f in found if f.mention is not None for w in f.signs if w.startswith("where:") and w.count("|") == 2}
    best = next((place for place in NEAREST if any(w.startswith(f"where:{place}") for w in near)), "none")
    signs.append(f"is:best subject {best}|{unit}")
    signs += [f"is:{key}" for key, on in common.items() if on]
    lead = scene.lead(figure)
    signs += [f"is:cue {role}" for role in Role if scene.hits(f"role:{role}", *lead)]
    close = [
        c
        for c in found
        if c.mention is not None
        and c.where in ("right before", "tied after", "clause before", "sentence before", "right after")
    ]
    takes = (
        "none near"
        if not close
        else "some"
        if any(usual(figure, c.unit, c.quantity, c.subject) for c in close)
        else "no subject near takes it"
    )
    signs.append(f"is:value {takes}|{because}")
    if any(scene.hits(f"q:{q}", *lead) for q in quantity_rows()):
        signs.append("is:quantity cue")
    if figure.qualifiers:
        signs.append("is:qualified")
    doc, at = scene.talk.doc, figure.span.end
    if at < len(doc):
        signs.append(f"is:next {doc[at].tag_}|{unit}")
    if figure.span.start > 0:
        signs.append(f"is:before {doc[figure.span.start - 1].tag_}|{unit}")
        word = scene.passage.norm(figure.span.start - 1)
        if word in SMALL_WORDS:
            signs.append(f"is:before “{word}”")
    word = scene.passage.norm(at)
    if word in SMALL_WORDS or word in ("more", "times", "inches", "apart"):
        signs.append(f"is:next “{word}”")
    if figure.value in (1.0, 2.0, 3.0, 4.0) and not figure.units:
        signs.append("is:small count")
    if story.figure is not None and index > 0 and scene.figures[index - 1] is story.figure:
        signs.append("is:after a reading")
    return tuple(signs)
