"""What tests share: a clean environment, small day folders, the command line in this process."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

SAMPLES = Path(__file__).parents[1] / "samples"
SHORT = "The run capacitor is marked 5 microfarads plus or minus 6 percent and I'm reading 2.3 microfarads.\n"


def run(*sources: Path, out: Path, wish: Any = None) -> Any:
    """One call of `jobtape draft` without the terminal; gives the Day."""
    from pipeline.day import Wish, draft_day
    from pipeline.settings import Settings

    return draft_day(sources, out, Settings(), wish or Wish(), lambda *_: None)


@pytest.fixture(autouse=True)
def _no_settings_of_this_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A developer's own settings must not decide whether tests pass."""
    for name in os.environ:
        if name.startswith("JOBTAPE_") and name != "JOBTAPE_CACHE":
            monkeypatch.delenv(name)


@dataclass(frozen=True)
class Called:
    """What a call of the command line came to."""

    status: int
    out: str
    err: str


@pytest.fixture
def jobtape() -> Callable[..., Called]:
    """Calls the command line in this process, where the language model is loaded once."""
    from typer.testing import CliRunner

    from pipeline.cli import app

    def call(*arguments: object, typed: str | None = None) -> Called:
        with warnings.catch_warnings():
            # What a user's terminal would not show must not fail a test of what it shows.
            warnings.simplefilter("ignore")
            result = CliRunner().invoke(app, [str(one) for one in arguments], input=typed)
        return Called(result.exit_code, result.stdout, result.stderr)

    return call


@pytest.fixture
def day(tmp_path: Path) -> Path:
    """A folder with one short text in it."""
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "front.txt").write_text(SHORT, encoding="utf-8")
    return folder
