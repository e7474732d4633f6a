"""What tests share: a clean environment, small day folders, the command line in this process."""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from app_web import NoEngine
    from starlette.applications import Starlette
    from starlette.testclient import TestClient

    from pipeline.desk import Desk
    from pipeline.store.store import Store

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


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    from app_store import store_at

    opened = store_at(tmp_path / "home")
    yield opened
    opened.close()


@pytest.fixture
def desk(store: Store) -> Desk:
    """The desk of the store."""
    from pipeline.desk import Desk

    return Desk(store)


@pytest.fixture
def engine() -> NoEngine:
    """An engine that hears nothing."""
    from app_web import NoEngine

    return NoEngine()


@pytest.fixture
def client(store: Store, desk: Desk, engine: NoEngine) -> TestClient:
    """A browser at the pages of the store, on this machine."""
    from app_web import BASE, FROM_HERE
    from starlette.testclient import TestClient

    from pipeline.store.store import LOCAL
    from pipeline.web.app import create_app
    from pipeline.web.people import User

    app = create_app(store, desk, engine, User(LOCAL, "Ann", "owner"))
    return TestClient(app, base_url=BASE, headers=FROM_HERE, raise_server_exceptions=False)


@pytest.fixture
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Passwords hashed in a millisecond."""
    from app_people import quicken

    quicken(monkeypatch)


@pytest.fixture
def ids(quick_hashes: None, store: Store) -> dict[str, str]:
    """The people of a shop, each name with its id."""
    from app_people import shop

    return shop(store)


@pytest.fixture
def app(store: Store, desk: Desk, ids: dict[str, str]) -> Starlette:
    """The pages as they are on a network."""
    from app_people import network_app

    return network_app(store, desk)
