"""The sample recording from upload to paper in a real browser, heard by the real recogniser."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_web_browser import CHROMIUM, served

pytestmark = [pytest.mark.browser, pytest.mark.speech]


def test_the_sample_recording_from_upload_to_paper(tmp_path: Path) -> None:
    if CHROMIUM is None:
        pytest.skip("no Chromium is installed here: apt-get install chromium")
    pytest.importorskip("playwright", reason="playwright is not installed here: pip install playwright")
    from playwright.sync_api import sync_playwright

    from pipeline.hear_apart import hear_apart

    sample = Path(__file__).parents[1] / "samples" / "day" / "walk-in-cooler.m4a"
    with served(tmp_path, hear_apart) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(base_url=address)
        page.goto("/")
        page.set_input_files("#files", str(sample))
        page.wait_for_selector("#jobs [data-state=ready]", timeout=600_000)
        page.click("#jobs [data-job] a")
        page.wait_for_function("() => document.querySelector('audio').duration > 200")
        assert page.locator("section:has(#read-h) .slip").count() >= 10
        with page.expect_download() as waiting:
            page.get_by_role("link", name="PDF").click()
        assert Path(str(waiting.value.path())).read_bytes().startswith(b"%PDF")
        browser.close()
