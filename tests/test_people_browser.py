"""A real browser over TLS on this machine: signing in, roles, and work that goes on after a new sign-in."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from app_people import ANN, BOB, OWN, PASSWORD, shop
from app_store import ready_job, store_at
from app_web import NoEngine
from sqlalchemy import delete
from test_web_browser import AXE, CHROMIUM, RULES

from pipeline.desk import Desk
from pipeline.store import planned
from pipeline.store.place import store_place
from pipeline.store.store import Store
from pipeline.store.tables_people import SessionRow

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page

pytestmark = pytest.mark.browser


@dataclass(frozen=True)
class Shop:
    """A shop at work: where its pages are, its store, and a job of Ann's."""

    address: str
    store: Store
    job: str


@pytest.fixture(scope="module")
def at_work(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed here: apt-get install chromium")
    pytest.importorskip("playwright", reason="playwright is not installed here: pip install playwright")
    import uvicorn

    from pipeline.web.app import create_app
    from pipeline.web.network import network_of
    from pipeline.web.serve import listening

    home = tmp_path_factory.mktemp("home")
    store = store_at(home)
    desk = Desk(store)
    ids = shop(store)
    job = ready_job(store, desk, owner=ids[ANN])
    with store.database.writing() as session:
        lines = f"customer,site,reference,technician\nHarrow,Mill,77,{ANN}\nLowe,Quay,78,{BOB}\n"
        planned.bring(session, "2026-03-14", planned.read_list(lines), "test")
    network = network_of(store_place({}, home=home), "127.0.0.1")
    app = create_app(store, desk, NoEngine(), None, hosts=network.names)
    with listening(0, network.address) as (sock, port):
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", proxy_headers=False, **network.tls()))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        yield Shop(f"https://127.0.0.1:{port}", store, job)
        server.should_exit = True
        thread.join(timeout=10)
    store.close()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


@pytest.fixture
def window(at_work: Shop, chromium: Any) -> Iterator[BrowserContext]:
    """A private window that takes our own certificate; no script may fail in it, and none may run inline."""
    faults: list[str] = []
    context = chromium.new_context(
        base_url=at_work.address, ignore_https_errors=True, viewport={"width": 1280, "height": 900}
    )
    context.on("weberror", lambda fault: faults.append(str(fault.error)))
    context.on("console", lambda said: faults.append(said.text) if "Content Security" in said.text else None)
    yield context
    context.close()
    assert faults == []


def enters(page: Page, name: str, password: str = PASSWORD) -> None:
    """Types name and password, by keyboard alone, once the form has taken the keys: a person would see that too."""
    page.wait_for_function("() => document.activeElement.tagName === 'INPUT'")
    page.keyboard.type(name)
    page.keyboard.press("Tab")
    page.keyboard.type(password)
    page.keyboard.press("Enter")


def signed(window: BrowserContext, name: str, path: str = "/") -> Page:
    page = window.new_page()
    page.goto(path)
    enters(page, name)
    page.wait_for_selector("nav a[href='/me']")
    return page


def test_a_technician_signs_in_by_keyboard_and_lands_on_his_job(window: BrowserContext, at_work: Shop) -> None:
    page = window.new_page()
    page.goto(f"/jobs/{at_work.job}")
    assert page.title().startswith("Sign in")
    assert page.locator("nav").count() == 0
    enters(page, ANN, "not the password")
    page.wait_for_selector("[role=alert] >> text=That is not right")
    assert page.input_value("#name") == ANN
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_selector("#work")
    assert page.url.endswith(f"/jobs/{at_work.job}")
    assert page.locator("nav a").all_inner_texts() == ["Jobs", "Machines", "To come back for", ANN]
    assert page.evaluate("document.cookie") == ""


def test_what_was_typed_outlives_the_session(window: BrowserContext, at_work: Shop) -> None:
    page = signed(window, ANN, f"/jobs/{at_work.job}")
    slip = page.locator("section:has(#read-h) .slip", has_text="21.9").first
    slip.get_by_role("button", name="Correct").click()
    slip.locator("[name=value]").first.fill("24.9")
    with at_work.store.database.writing() as session:
        session.execute(delete(SessionRow))
    slip.locator("form button", has_text="Save").click()
    page.wait_for_selector("#alarm >> text=You are not signed in")
    other = window.new_page()
    other.goto("/")
    enters(other, ANN)
    other.wait_for_selector("#jobs")
    assert slip.locator("[name=value]").first.input_value() == "24.9"
    slip.locator("form button", has_text="Save").click()
    page.wait_for_function("() => document.getElementById('say').textContent === 'Saved'")
    assert page.locator("section:has(#read-h) .figure", has_text="24.9").count() == 1


def test_another_technician_finds_nothing_of_it(window: BrowserContext, at_work: Shop) -> None:
    page = signed(window, BOB)
    assert page.locator(f"a[href='/jobs/{at_work.job}']").count() == 0
    page.goto(f"/jobs/{at_work.job}")
    assert page.locator("h1").inner_text() == "That job is not here."
    page.goto("/people")
    assert page.locator("h1").inner_text() == "Your role does not allow this."


def test_an_owner_lets_somebody_in_who_then_sets_his_own_password(window: BrowserContext, chromium: Any) -> None:
    owner = signed(window, OWN, "/people")
    owner.get_by_label("Name, as it shall stand").fill("Eli New")
    owner.locator("form[action='/people'] select").select_option("office")
    owner.get_by_role("button", name="Let in", exact=True).click()
    given = owner.locator("#given").inner_text()
    context = chromium.new_context(base_url=owner.url.split("/people")[0], ignore_https_errors=True)
    page = context.new_page()
    page.goto("/")
    enters(page, "eli new", given)
    page.wait_for_selector("text=Your password was given to you to begin with")
    page.get_by_label("Present password").fill(given)
    page.get_by_label("New password").fill("a kettle sings at the north gate")
    page.get_by_role("button", name="Change the password").click()
    page.wait_for_selector("#factor-h")
    page.goto("/")
    assert page.locator("#jobs .what").count() == 1
    page.goto("/me")
    page.get_by_role("button", name="Sign out here").click()
    page.wait_for_url("**/sign-in")
    page.go_back()
    page.wait_for_url("**/sign-in**")
    context.close()
    owner.goto("/audit?who=Eli+New")
    told = owner.locator("tbody tr").all_inner_texts()
    assert [line.split("\t")[2] for line in told] == ["sign-out", "person:password", "sign-in"]


ADDRESSES = ["/sign-in", "/me", "/people", "/audit", "/plan?day=2026-03-14"]


@pytest.mark.parametrize("where", ADDRESSES)
@pytest.mark.parametrize("width", [320, 360, 1920])
def test_no_page_is_wider_than_its_window(window: BrowserContext, where: str, width: int) -> None:
    page = signed(window, OWN)
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(where)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("where", ADDRESSES)
def test_no_page_breaks_a_rule_that_a_program_can_check(window: BrowserContext, where: str) -> None:
    """axe-core's rules for WCAG 2.2 AA; the file's place is named by JOBTAPE_AXE (npm pack axe-core)."""
    if not AXE or not Path(AXE).is_file():
        pytest.skip("axe-core is not here: set JOBTAPE_AXE to its axe.min.js")
    page = signed(window, OWN, "/")
    page.goto(where)
    if where == "/me":
        page.get_by_label("What will use it").fill("the recorder")
        page.get_by_role("button", name="Make a token").click()
        page.wait_for_selector("#token")
    page.evaluate(Path(AXE).read_text(encoding="utf-8") + "; 0")
    found = page.evaluate("(rules) => axe.run({runOnly: rules}).then((r) => r.violations)", RULES)
    assert [(one["id"], [node["target"] for node in one["nodes"]][:5]) for one in found] == []
