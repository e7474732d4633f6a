"""Where templates and fonts are: in the wheel, in a checkout, or a shop's own beside its shop.toml."""

from __future__ import annotations

from bisect import bisect_right
from functools import cache
from pathlib import Path
from unicodedata import category

from pipeline.errors import SetupError

PACKAGED = Path(__file__).parents[1] / "_templates"
BESIDE = Path(__file__).parents[2] / "templates"
MARKER = "page.html.j2"


@cache
def template_folder() -> Path:
    """The folder of our templates. An editable install has none in the package, so the checkout's is taken.

    Raises SetupError when there is neither.
    """
    for folder in (PACKAGED, BESIDE):
        if (folder / MARKER).is_file():
            return folder
    raise SetupError("templates-missing", "The templates of the papers are missing.", "Install jobtape again.")


def font_folder() -> Path:
    """The folder of the fonts that the papers carry."""
    return template_folder() / "fonts"


@cache
def covered() -> tuple[tuple[int, int], ...]:
    """The characters that the fonts of the papers can print, as ranges of code points in order."""
    lines = (font_folder() / "coverage.txt").read_text(encoding="ascii").split()
    return tuple((int(low, 16), int(high, 16)) for low, high in (line.split("-") for line in lines))


def unprintable(text: str) -> set[str]:
    """The characters of a text that none of the fonts has; spaces and joiners need none."""
    ranges = covered()
    starts = [low for low, _ in ranges]
    missing = set()
    for letter in set(text):
        place = bisect_right(starts, ord(letter)) - 1
        if (place < 0 or ord(letter) > ranges[place][1]) and category(letter) not in ("Zs", "Cf", "Cc", "Mn"):
            missing.add(letter)
    return missing


def find(name: str, own: Path | None) -> Path:
    """A template or style file: the shop's own of this name, otherwise ours."""
    if own is not None and (own / name).is_file():
        return own / name
    return template_folder() / name
