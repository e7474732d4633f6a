"""Where templates and fonts are: in the wheel, in a checkout, or a shop's own beside its shop.toml."""

from __future__ import annotations

from functools import cache
from pathlib import Path

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


def find(name: str, own: Path | None) -> Path:
    """A template or style file: the shop's own of this name, otherwise ours."""
    if own is not None and (own / name).is_file():
        return own / name
    return template_folder() / name
