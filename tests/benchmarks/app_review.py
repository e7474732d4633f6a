"""How many key presses and seconds the review of a job takes, by somebody who hears each figure once and says yes.

    python tests/benchmarks/app_review.py http://127.0.0.1:8610 /jobs/ID

Drives a real browser against a program that runs, plays every figure that asks for it from two seconds before to one
after, as a person would, answers no question, and marks the report reviewed. It changes the job: use a copy.
"""

from __future__ import annotations

import shutil
import sys
import time


def main() -> None:
    """Reviews the job and prints what it took."""
    from playwright.sync_api import sync_playwright

    address, job = sys.argv[1], sys.argv[2]
    presses = figures = 0
    with sync_playwright() as playwright:
        args = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required"]
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=args)
        page = browser.new_page(viewport={"width": 1280, "height": 900}, base_url=address)
        page.goto(job)
        page.check("#follow")
        began = time.monotonic()
        page.locator("#count").focus()
        page.keyboard.press("n")
        presses += 1
        while True:
            here = page.locator(".slip.here")
            if here.count() == 0 or here.get_attribute("data-gap") is not None:
                break
            figures += 1
            if here.locator(".play").count():
                # It plays by itself, since that was asked for; wait until it has ended.
                page.wait_for_function("() => document.querySelector('audio').paused", timeout=60_000)
            page.wait_for_timeout(300)
            page.keyboard.press("Enter")
            presses += 1
            page.wait_for_timeout(700)
        page.locator("[data-do=review]").focus()
        page.keyboard.press("Enter")
        presses += 1
        page.wait_for_selector(".bar .done", timeout=10_000)
        took = time.monotonic() - began
        length = page.evaluate("document.querySelector('audio').duration")
        browser.close()
    print(f"{figures} things heard, {presses} key presses, {took:.0f} s for {length:.0f} s of sound")


if __name__ == "__main__":
    main()
