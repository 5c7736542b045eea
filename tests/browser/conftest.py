"""A real board in a process of its own, and a real Chromium to look at it."""

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from qc.jobs.board.serving import running
from sample_measurements import folder as sample_folder

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
LACQUER = sorted((sample_folder() / "sheets" / "lacquer").iterdir())[-20:]
VALVES = sorted((sample_folder() / "sheets" / "valves").iterdir())
"""Cards with typing mishaps among them, so that rows are held and a mend is offered."""


@pytest.fixture(scope="session")
def chromium():
    found = next((place for name in NAMES if (place := shutil.which(name))), None)
    if found is None:
        pytest.fail(
            f"No Chromium was found (looked for {', '.join(NAMES)}). "
            "Install one; on Debian: apt install chromium"
        )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def address(tmp_path_factory):
    """The board of an empty workshop with the sample plan."""
    workshop = tmp_path_factory.mktemp("workshop")
    shutil.copyfile(sample_folder() / "plan.yaml", workshop / "plan.yaml")
    with running(workshop) as (found, _):
        yield found.rstrip("/")


class Visit:
    """One browser window that remembers what it asked for and what it complained about."""

    def __init__(self, browser, base, **how):
        self.base = base
        self.context = browser.new_context(**{"viewport": {"width": 1440, "height": 900}, **how})
        self.page = self.context.new_page()
        self.asked, self.complaints = [], []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", self._hear)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def go(self, path):
        self.page.goto(self.base + path)
        self.page.wait_for_selector("#page-title")
        return self.page

    def upload(self, files):
        """Choose files on the sheets page and wait for the receipt; returns its text."""
        page = self.go("/sheets")
        with page.expect_file_chooser() as chooser:
            page.click("#sheets-choose")
        chooser.value.set_files([Path(file) for file in files])
        return self.receipt()

    def receipt(self):
        # for a loaded machine: 36 sheets, judged and all, took 40 s beside eight other programs
        self.page.wait_for_selector("#sheets-receipt .card", timeout=240_000)
        return self.page.inner_text("#sheets-receipt")

    def _hear(self, message):
        if message.type in {"error", "warning"}:
            self.complaints.append(message.text)


@pytest.fixture
def visit(chromium, address):
    """Open a window on the board; closed at the end, and quiet throughout."""
    opened = []

    def open_window(**how):
        window = Visit(chromium, address, **how)
        opened.append(window)
        return window

    yield open_window
    for window in opened:
        window.context.close()
    assert [text for window in opened for text in window.complaints] == []


@pytest.fixture(scope="session")
def filled(chromium, address):
    """Sample lacquer sheets but the newest, and valve cards, handed in by the board; gives the receipt."""
    window = Visit(chromium, address)
    text = window.upload([*LACQUER[:-1], *VALVES])
    window.context.close()
    assert window.complaints == []
    return text


def first_signal(window):
    """Return the address of the signal that stands first in the list."""
    return window.go("/signals").locator("a.name").first.get_attribute("href")


@pytest.fixture
def signal(visit, filled):
    """The address of one signal, looked up by what it is and not by its place among the pages."""
    return first_signal(visit())


@pytest.fixture(scope="session")
def pages(chromium, address, filled):
    """One address of every kind of page."""
    window = Visit(chromium, address)
    serial = window.go("/instruments").locator("a.serial").first.get_attribute("href")
    signal = first_signal(window)
    held = window.go("/hold").locator("a.name").first.get_attribute("href")
    window.context.close()
    return [
        "/",
        "/hold",
        held,
        "/stages",
        "/stages/lacquer/thickness/all",
        "/instruments",
        serial,
        "/signals",
        signal,
        "/sheets",
        "/gauges",
        "/gauges/EC-1",
        "/month",
    ]
