"""Papers in a real browser: readable at 360 pixels, asking nothing of the network, WCAG 2.2 AA by axe-core."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from render_drafts import HOSTILE, draft, with_readings, with_text

from pipeline.draft import Draft
from pipeline.render import PAPERS, paper
from pipeline.shop import Shop

CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
AXE = Path(os.environ.get("JOBTAPE_AXE", ""))
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
JOBS = {
    "whole": draft("walkin-roof-start-gear"),
    "empty": Draft(),
    "many": with_readings(120),
    "long": with_text(HOSTILE["long"]),
    "markup": with_text(HOSTILE["markup"]),
}

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed here: apt-get install chromium")
    pytest.importorskip("playwright", reason="playwright is not installed here: pip install playwright")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield found
        found.close()


def opened(browser: Any, width: int, html: bytes) -> tuple[Any, list[str]]:
    """A page of this width that shows the paper, and what it asked of others."""
    page = browser.new_page(viewport={"width": width, "height": 800})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: asked.append("a script ran"))
    page.set_content(html.decode(), wait_until="load")
    return page, [url for url in asked if not url.startswith(("data:", "about:"))]


@pytest.mark.parametrize("kind", PAPERS)
@pytest.mark.parametrize("job", JOBS)
def test_paper_fits_a_phone_and_asks_nothing(browser: Any, job: str, kind: str) -> None:
    page, asked = opened(browser, 360, paper(JOBS[job], kind, "html"))
    wide = page.evaluate("document.documentElement.scrollWidth")
    page.close()

    assert asked == []
    assert wide <= 360


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("kind", PAPERS)
@pytest.mark.parametrize("width", [360, 1100])
def test_paper_has_no_accessibility_violation(browser: Any, width: int, kind: str, language: str) -> None:
    """WCAG 2.2 AA (W3C, 5 October 2023), as far as axe-core proves it; its file is named by JOBTAPE_AXE."""
    if not AXE.is_file():
        pytest.skip("axe-core is not here: set JOBTAPE_AXE to its axe.min.js")
    page, _ = opened(browser, width, paper(JOBS["whole"], kind, "html", shop=Shop(language=language)))
    page.add_script_tag(path=str(AXE))
    found = page.evaluate("(rules) => axe.run({runOnly: rules}).then((result) => result.violations)", RULES)
    page.close()

    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []


def test_table_of_before_and_after_stays_a_table_on_a_phone(browser: Any) -> None:
    page, _ = opened(browser, 360, paper(JOBS["whole"], "customer", "html"))
    rows = page.get_by_role("row").count()
    heads = page.get_by_role("columnheader", include_hidden=True).count()
    page.close()

    assert rows > 3
    assert heads >= 6


def test_draft_line_stands_on_every_printed_page(browser: Any) -> None:
    import io

    from pypdf import PdfReader

    page, _ = opened(browser, 1100, paper(JOBS["whole"], "customer", "html"))
    sheets = PdfReader(io.BytesIO(page.pdf(format="A4"))).pages
    page.close()

    assert len(sheets) > 1
    assert all("DRAFT, not for sending" in sheet.extract_text() for sheet in sheets)
