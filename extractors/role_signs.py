"""The signs by which a figure's role is told: cues beside it, the role of the figure before, what it is about."""

from __future__ import annotations

from extractors.facts import Role
from extractors.features import Filing
from extractors.figure import Figure
from extractors.meant import Story
from extractors.reader import share_word
from extractors.scene import Scene


def decimal(figure: Figure) -> str:
    """Whether a figure has decimals."""
    return "dec" if figure.middle != int(figure.middle) else "int"


def role_signs(scene: Scene, index: int, filing: Filing, story: Story) -> dict[Role, tuple[str, ...]]:
    """The signs for each role of a figure that was filed."""
    figure = scene.figures[index]
    lead, trail = scene.lead(figure), scene.trail(figure)
    clause = scene.clause(figure)
    tail_end = min(trail[1], figure.span.end + 7)
    same_sentence = scene.same_sentence(figure, story.figure)
    found: dict[Role, tuple[str, ...]] = {}
    nearest: list[tuple[int, str]] = []
    for role in Role:
        hits = scene.hits(f"role:{role}", *lead)
        if hits:
            nearest.append((figure.span.start - hits[-1].span.end, role.value))
    closest = min(nearest)[1] if nearest else "none"
    sentence = scene.sentence(figure)
    for role in Role:
        signs = [f"role:{role}", f"reader:role {share_word(scene.impressions[index].role[role])}"]
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
        signs.append(f"{role}<{decimal(figure)}")
        if story.role is not None:
            signs.append(f"{role}<before was {story.role}{' in sentence' if same_sentence else ''}")
            if story.subject == filing.subject:
                signs.append(f"{role}<before was {story.role} of same subject{' in sentence' if same_sentence else ''}")
        if figure.tolerance:
            signs.append(f"{role}<tolerance")
        if any(
            scene.hits(f"which:{name}", lead[0], figure.span.end + 4) for name in ("RLA", "FLA", "LRA", "MCA", "MOCP")
        ):
            signs.append(f"{role}<plate word")
        if figure.form == "range":
            signs.append(f"{role}<range")
        if figure.changed_to or figure.changed_from:
            signs.append(f"{role}<changed")
        for qualifier in figure.qualifiers:
            signs.append(f"{role}<{qualifier.value}")
        after = scene.passage.norm(figure.span.end)
        if filing.unit and after in (
            "motor",
            "heater",
            "capacitor",
            "cap",
            "relay",
            "breaker",
            "fuse",
            "element",
            "unit",
            "coil",
            "transformer",
            "circuit",
            "compressor",
            "fan",
            "one",
            "part",
            "service",
            "pump",
            "outlet",
            "plug",
            "machine",
            "fuses",
        ):
            signs.append(f"{role}<names a part")
        before = scene.passage.norm(figure.span.start - 1)
        if before in ("a", "an", "the"):
            signs.append(f"{role}<article before")
        if set(scene.passage.norms[clause.start : clause.end]) & {"new", "box", "truck", "put"}:
            signs.append(f"{role}<new part")
        found[role] = tuple(signs)
    return found
