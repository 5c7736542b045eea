"""Type slide cards of 24 figures as a steady hand does at the bench; print the median time and the keys.

A board of the sample workshop and a browser are started; each card is typed key by key, a reading every so
many seconds, one figure of each card with a slipped decimal point that is asked about and mended. The goal
is two minutes from the first key to the page that says what is kept, at four seconds a reading. Needs a
Chromium on the path.

    python tests/benchmarks/bench_typist.py [cards] [seconds a reading]
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, sync_playwright

from qc.jobs.board.serving import running
from qc.jobs.demo import make_demo

GOAL_S = 120.0
CARDS, A_READING_S = 3, 4.0
INNER, OUTER, SLIPPED = 13.9, 14.05, 7
KEY_S = 0.15  # between two keys; chosen: slow for who types all day


class Typist:
    """Presses one key after the other and counts them."""

    def __init__(self, page: Page) -> None:
        self.page, self.keys = page, 0

    def write(self, text: str, end: str = "Enter") -> None:
        """Type a text and the key that ends it."""
        for sign in text:
            self.page.keyboard.type(sign)
            time.sleep(KEY_S)
        self.press(end)
        self.keys += len(text)

    def press(self, key: str) -> None:
        """Press a key."""
        self.page.keyboard.press(key)
        self.keys += 1
        time.sleep(KEY_S)


def card(page: Page, address: str, serial: str, a_reading_s: float) -> tuple[float, int]:
    """Type one card; returns how long it took [s] and how many keys."""
    typist = Typist(page)
    page.goto(f"{address}bench")
    begun = time.perf_counter()
    typist.write("slide-card")
    page.wait_for_url("**/bench/slide-card*")
    typist.write(serial, end="Tab")
    typist.press("t")  # the model of a new piece: tenor
    page.locator("#bench-boxes button.do").focus()
    typist.press("Enter")
    page.wait_for_selector("#bench-type:not([hidden])")
    total = int(page.inner_text("#bench-count").split(" of ")[1].split(",")[0])
    for number in range(total):
        due = time.perf_counter() + a_reading_s
        value = (INNER if number < total / 2 else OUTER) + 0.001 * (number * 7 % 5)
        typist.write(f"{value / 10:.4f}" if number == SLIPPED else f"{value:.3f}")
        time.sleep(max(0.0, due - time.perf_counter()))
    _answer(page, typist)
    page.locator("#bench-hand").focus()
    typist.press("Enter")
    page.wait_for_url("**/bench/done/*", timeout=60_000)
    return time.perf_counter() - begun, typist.keys


def _answer(page: Page, typist: Typist) -> None:
    """Take every mend that is offered."""
    page.wait_for_selector("#bench-last:not([hidden]) .bench-ask", timeout=60_000)
    while (take := page.locator("#bench-open button.do")).count():
        take.first.focus()
        typist.press("Enter")
        page.wait_for_timeout(200)


def main(words: list[str]) -> int:
    """Type the cards and print the table; returns 1 where the median misses the goal."""
    cards = int(words[0]) if words else CARDS
    a_reading_s = float(words[1]) if len(words) > 1 else A_READING_S
    found: list[tuple[float, int]] = []
    with tempfile.TemporaryDirectory() as room, sync_playwright() as playwright:
        folder = Path(room) / "shop"
        make_demo(folder)
        browser: Any = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        with running(folder) as (address, _):
            page = browser.new_context().new_page()
            card(page, address, "QH-1214", 0.0)  # the board warms up; not counted
            for number in range(cards):
                found.append(card(page, address, f"QH-12{number + 19:02}", a_reading_s))
                print(f"card {number + 1}: {found[-1][0]:6.1f} s, {found[-1][1]} keys")
        browser.close()
    median = statistics.median(seconds for seconds, _ in found)
    keys = statistics.median(keys for _, keys in found)
    print(f"median of {cards}: {median:.1f} s (goal {GOAL_S:.0f} s), {keys:.0f} keys")
    return int(median > GOAL_S)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
