"""A real browser reviews a job: by keyboard and mouse, narrow and wide, with sound and without a foreign host.

The test plays the recogniser; pages, store, engine, extraction, checks and papers are the real ones.
"""

from __future__ import annotations

import json
import os
import shutil
import struct
import threading
import wave
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from math import pi, sin
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from app_drafts import LINES, timed
from test_pictures import jpeg

from pipeline.hear import Heard
from pipeline.hear_apart import Result, Wanted, peaks_of
from pipeline.keep import digest_of_file

if TYPE_CHECKING:
    from playwright.sync_api import Page, Route

pytestmark = pytest.mark.browser

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
AXE = os.environ.get("JOBTAPE_AXE", "")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SECONDS = 75


def recording(path: Path) -> Path:
    """A tone where the invented visit's words are: something to play, with a strip to see."""
    spoken = [(s.start or 0, s.end or 0) for s in timed().segments]
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8000)
        frames = bytearray()
        for n in range(SECONDS * 8000):
            at = n / 8000
            loud = 9000 if any(start <= at <= end for start, end in spoken) else 60
            frames += struct.pack("<h", int(loud * sin(2 * pi * 220 * at)))
        file.writeframes(bytes(frames))
    return path


def heard(wanted: Wanted, progress: Callable[[float, float], None]) -> Result:
    """What a recogniser would have heard of the invented visit."""
    path = Path(wanted.path)
    progress(SECONDS, SECONDS)
    said = Heard(transcript=timed(LINES), duration_s=SECONDS, grade=0.9, hearing="careful")
    body = {
        "heard": said.model_dump(mode="json"),
        "source": {
            "sha256": digest_of_file(path), "kind": "sound", "declared_s": SECONDS,
            "recorded_at": "2026-03-14T09:26:53", "recorded_at_from": "metadata",
        },
    }  # fmt: skip
    return Result(json.dumps(body), peaks_of(path))


@contextmanager
def served(home: Path, hear: Callable[..., Result]) -> Iterator[str]:
    """The program at work on a free port of this machine."""
    import uvicorn

    from pipeline.settings import read_settings
    from pipeline.store.place import store_place
    from pipeline.web.serve import listening, running

    with listening(0) as (sock, port), running(store_place({}, home=home), read_settings({}), hear=hear) as app:
        server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
        server.install_signal_handlers = lambda: None  # type: ignore[method-assign,attr-defined]
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{port}"
        server.should_exit = True
        thread.join(timeout=10)


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed here: apt-get install chromium")
    pytest.importorskip("playwright", reason="playwright is not installed here: pip install playwright")
    with served(tmp_path_factory.mktemp("home"), heard) as found:
        yield found


@pytest.fixture(scope="module")
def browser(address: str) -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        args = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=args)
        yield found
        found.close()


@pytest.fixture
def page(browser: Any, address: str) -> Iterator[Page]:
    """A page in a private window; nothing may be asked of another host, and no script may fail."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, base_url=address)
    asked: list[str] = []
    faults: list[str] = []
    opened = context.new_page()
    opened.on("request", lambda request: asked.append(request.url))
    opened.on("pageerror", lambda fault: faults.append(str(fault)))
    opened.on("console", lambda message: faults.append(message.text) if "Content Security" in message.text else None)
    yield opened
    context.close()
    assert [url for url in asked if not url.startswith((address, "data:", "blob:"))] == []
    assert faults == []


@pytest.fixture(scope="module")
def job(browser: Any, address: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a job that was uploaded through the page and heard."""
    path = recording(tmp_path_factory.mktemp("phone") / "dock-cooler.wav")
    page = browser.new_page(base_url=address)
    page.goto("/")
    page.set_input_files("#files", str(path))
    page.wait_for_selector("#jobs [data-state=ready]", timeout=60_000)
    page.set_input_files("#files", str(path))
    page.wait_for_selector("text=Already here: open its job", timeout=20_000)
    found = page.get_attribute("#jobs [data-job] a", "href")
    page.close()
    assert found
    return str(found)


def presses(page: Page, *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def saved(page: Page) -> None:
    page.wait_for_function("() => document.getElementById('say').textContent === 'Saved'", timeout=15_000)
    page.evaluate("() => { document.getElementById('say').textContent = ''; }")


def test_a_job_is_reviewed_by_keyboard_alone_and_its_paper_saved(page: Page, job: str) -> None:
    page.goto(job)
    pressed = 0

    def key(*names: str) -> None:
        nonlocal pressed
        pressed += len(names)
        presses(page, *names)

    # Everything that needs a person is walked through: played, and said to be right.
    key("n")
    for _ in range(40):
        here = page.locator(".slip.here")
        if here.count() == 0 or here.get_attribute("data-gap") is not None:
            break
        handle = here.get_attribute("id")
        if here.get_attribute("data-must") and here.locator(".play").count():
            key(" ")
            page.wait_for_function(
                "(id) => !document.getElementById(id) || document.getElementById(id).dataset.heard", arg=handle,
                timeout=30_000,
            )  # fmt: skip
            page.wait_for_timeout(400)
        key("Enter")
        page.wait_for_timeout(500)
    assert page.locator("#blocked").count() == 0

    page.get_by_role("button", name="I have reviewed it").focus()
    key("Enter")
    saved(page)
    assert page.locator(".bar .done").inner_text() == "Reviewed"
    with page.expect_download() as waiting:
        page.get_by_role("link", name="PDF").click()
    assert Path(str(waiting.value.path())).read_bytes().startswith(b"%PDF")
    print(f"key presses of the review: {pressed}")


def test_the_sound_begins_two_seconds_before_and_a_second_press_is_slower(page: Page, job: str) -> None:
    page.goto(job)
    button = page.locator("#work .slip .play").first
    start = float(str(button.get_attribute("data-play")).split(",")[1])
    button.click()
    page.wait_for_function("() => !document.querySelector('audio').paused")
    at, rate = page.evaluate(
        "() => [document.querySelector('audio').currentTime, document.querySelector('audio').playbackRate]"
    )
    assert max(0.0, start - 2.0) - 0.1 <= at <= start + 0.5
    assert rate == 1
    button.click()
    page.wait_for_function("() => document.querySelector('audio').playbackRate === 0.75")
    page.keyboard.press("o")
    assert page.locator("#loop").is_checked()


def test_a_figure_is_corrected_by_keyboard_and_the_check_follows(page: Page, job: str) -> None:
    page.goto(job)
    slip = page.locator("section:has(#read-h) .slip", has_text="21.9").first
    assert slip.locator(".check.out_of_tolerance").count() == 1
    slip.evaluate("(element) => element.focus()")
    presses(page, "c")
    page.keyboard.press("Control+a")
    page.keyboard.type("24.9")
    presses(page, "Enter")
    saved(page)

    corrected = page.locator("section:has(#read-h) .slip", has_text="24.9").first
    assert corrected.locator(".figure").inner_text().startswith("24.9")
    assert "24.9" in corrected.locator(".check").inner_text()
    assert corrected.locator(".check.out_of_tolerance").count() == 0
    presses(page, "Escape")
    page.locator("#count").focus()
    presses(page, "z")
    saved(page)
    assert page.locator("section:has(#read-h) .figure", has_text="21.9").count() == 1
    presses(page, "y")
    saved(page)
    assert page.locator("section:has(#read-h) .figure", has_text="24.9").count() == 1


def test_a_question_is_answered_by_keyboard_and_asked_no_more(page: Page, job: str) -> None:
    page.goto(job)
    question = page.locator(".slip.gap[data-gap^='visit.']").first
    asked = question.locator("h4").inner_text()
    question.evaluate("(element) => element.focus()")
    presses(page, "c")
    page.keyboard.type("Harrow")
    presses(page, "Enter")
    saved(page)
    assert page.locator(".slip.gap h4", has_text=asked).count() == 0
    assert page.locator("section:has(#visit-h) .figure", has_text="Harrow").count() == 1


def test_an_upload_goes_on_after_its_connection_broke(page: Page, tmp_path: Path) -> None:
    path = tmp_path / "front.wav"
    path.write_bytes(recording(tmp_path / "whole.wav").read_bytes() + os.urandom(9 << 20))
    broken: list[str] = []

    def breaks(route: Any) -> None:
        if len(broken) < 2 and route.request.method == "PUT" and "at=8388608" in route.request.url:
            broken.append(route.request.url)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/uploads/*", breaks)
    page.route("**/uploads/*?at=*", breaks)
    page.goto("/")
    page.set_input_files("#files", str(path))
    page.wait_for_selector("text=Safe on this machine", timeout=60_000)
    assert len(broken) == 2


def test_words_become_an_entry_and_two_windows_do_not_overwrite_each_other(page: Page, job: str) -> None:
    page.goto(job)
    other = page.context.new_page()
    other.goto(job)
    line = page.locator(".line", has_text="door gasket").first
    line.locator("[data-w]", has_text="door").click()
    line.locator("[data-w]", has_text="gasket").click()
    page.locator("#chosen button", has_text="Part").click()
    page.locator("#form-part [name=component]").fill("door gasket")
    page.locator("#form-part button").click()
    saved(page)
    assert page.locator(".slip[data-kind=part]", has_text="door gasket").count() == 1

    for window, value in ((page, "8.6"), (other, "8.9")):
        slip = window.locator("section:has(#read-h) .slip", has_text="9.6").first
        slip.get_by_role("button", name="Correct").click()
        slip.locator("[name=value]").first.fill(value)
        slip.locator("form button", has_text="Save").click()
        window.wait_for_timeout(1200)
    assert "another window" in other.locator("#alarm").inner_text()
    assert other.locator("section:has(#read-h) .figure", has_text="8.6").count() == 1


def test_a_change_waits_while_the_connection_is_gone(page: Page, job: str) -> None:
    page.goto(job)
    page.context.set_offline(True)
    slip = page.locator("section:has(#read-h) .slip", has_text="51").first
    slip.get_by_role("button", name="Correct").click()
    slip.locator("[name=value]").first.fill("50")
    slip.locator("form button", has_text="Save").click()
    page.wait_for_function("() => document.getElementById('alarm').textContent.startsWith('Not saved yet')")
    page.context.set_offline(False)
    saved(page)
    assert page.locator("section:has(#read-h) .figure", has_text="50").count() == 1


def test_an_answer_that_comes_while_somebody_types_leaves_what_he_had_selected(page: Page, job: str) -> None:
    page.goto(job)
    held: list[Route] = []
    page.route("**/edits", lambda route: held.append(route))
    first, second = (page.locator("section:has(#read-h) .slip", has_text=words).first for words in ("as found", "38"))
    first.evaluate("(element) => element.focus()")
    presses(page, "c", "Tab", "Tab", "Tab")
    page.keyboard.type("rear")
    presses(page, "Enter")
    page.wait_for_timeout(300)
    second.evaluate("(element) => element.focus()")
    presses(page, "c", "Control+a")
    for route in held:
        route.continue_()
    saved(page)
    page.keyboard.type("37")

    assert page.evaluate("document.activeElement.value") == "37"


def test_pictures_are_added_described_and_taken_out_again(page: Page, job: str, tmp_path: Path) -> None:
    (tmp_path / "plate.jpg").write_bytes(jpeg(800, 600))
    page.goto(job)
    page.set_input_files("#pictures", str(tmp_path / "plate.jpg"))
    page.wait_for_selector(".picture img", timeout=20_000)
    picture = page.locator(".picture")
    picture.scroll_into_view_if_needed()
    page.wait_for_function("() => document.querySelector('.picture img').naturalWidth > 0")
    picture.locator("[data-correct]").click()
    page.keyboard.type("the nameplate")
    presses(page, "Enter")
    saved(page)
    assert picture.locator("img").get_attribute("alt") == "the nameplate"
    picture.get_by_role("button", name="Take out").click()
    saved(page)
    assert picture.count() == 0


def test_the_job_is_found_again_by_its_serial(page: Page, job: str) -> None:
    page.goto("/")
    page.locator("#ask-words").fill("k47 2209")
    page.keyboard.press("Enter")
    page.wait_for_url("**/find?**")
    assert page.locator(f"#main a[href='{job}']").count() == 1


ADDRESSES = ["/", "JOB", "MACHINE", "/machines", "/find?q=cooler", "/due", "/words", "/nothing-here"]


def place(page: Page, job: str, where: str) -> str:
    """The address of a page that the tests name."""
    if where != "MACHINE":
        return job if where == "JOB" else where
    page.goto("/machines")
    return str(page.get_attribute("#main .jobs a", "href"))


@pytest.mark.parametrize("where", ADDRESSES)
@pytest.mark.parametrize("width", [320, 360, 1920])
def test_no_page_is_wider_than_its_window(page: Page, job: str, where: str, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(place(page, job, where))
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("where", ADDRESSES)
def test_no_page_breaks_a_rule_that_a_program_can_check(page: Page, job: str, where: str) -> None:
    """axe-core's rules for WCAG 2.2 AA; the file's place is named by JOBTAPE_AXE (npm pack axe-core)."""
    if not AXE or not Path(AXE).is_file():
        pytest.skip("axe-core is not here: set JOBTAPE_AXE to its axe.min.js")
    page.goto(place(page, job, where))
    # The page's own policy allows no foreign script; the checker comes in through the browser's own door.
    page.evaluate(Path(AXE).read_text(encoding="utf-8") + "; 0")
    found = page.evaluate("(rules) => axe.run({runOnly: rules}).then((r) => r.violations)", RULES)
    assert [(one["id"], [node["target"] for node in one["nodes"]][:5]) for one in found] == []
