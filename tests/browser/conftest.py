"""A real board in a process of its own, and a real Chromium to look at it."""

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from qc.jobs.board.serving import running
from sample_measurements import folder as sample_folder

NAMES = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome", "chrome")
"""The first that is there: without a window of its own to draw the same pages take two thirds of the time."""

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


PUT_BACK = {"viewport", "color_scheme", "reduced_motion"}
"""What a window that was used can be given anew; whoever wants more of a window has one of its own."""


def put_back(page, viewport=None, color_scheme="light", reduced_motion="no-preference"):
    """Give a used page as a new one would be: nothing kept, nothing routed, no hand on it.

    What is loaded and compiled stays: the board in a new window takes three times as long as in a used one.
    """
    page.unroute_all(behavior="ignoreErrors")
    page.context.clear_cookies()
    if page.url.startswith("http"):
        page.evaluate("() => { localStorage.clear(); sessionStorage.clear(); }")
    page.emulate_media(media="null", color_scheme=color_scheme, reduced_motion=reduced_motion)
    page.set_viewport_size(viewport or {"width": 1440, "height": 900})
    page.mouse.move(0, 0)
    return page


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

    def anew(self, **how):
        """Begin as a new window does."""
        put_back(self.page, **how)
        self.asked.clear()
        self.complaints = []
        return self

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


@pytest.fixture(scope="session", name="put_back")
def _put_back():
    """Return what gives a page as a new one would be, for windows that a module keeps itself."""
    return put_back


@pytest.fixture(scope="session")
def kept(chromium, address):
    """One window on the board for all tests, to be begun anew by each."""
    window = Visit(chromium, address)
    yield window
    window.context.close()


@pytest.fixture
def visit(chromium, address, kept):
    """Open a window on the board; quiet throughout.

    The first is the one that all tests share, put back. Whoever wants what cannot be put back, a second one,
    or one of its own (`own`), gets a new one.
    """
    opened = []

    def open_window(own=False, **how):
        own = own or kept in opened or not set(how) <= PUT_BACK
        opened.append(Visit(chromium, address, **how) if own else kept.anew(**how))
        return opened[-1]

    yield open_window
    for window in opened:
        if window is not kept:
            window.context.close()
    assert [text for window in opened for text in window.complaints] == []


@pytest.fixture(scope="session")
def filled(kept):
    """Sample lacquer sheets but the newest, and valve cards, handed in by the board; gives the receipt."""
    text = kept.anew().upload([*LACQUER[:-1], *VALVES])
    assert kept.complaints == []
    return text


def first_signal(window):
    """Return the address of the signal that stands first in the list."""
    return window.go("/signals").locator("a.name").first.get_attribute("href")


@pytest.fixture
def signal(kept, filled):
    """The address of one signal, looked up by what it is and not by its place among the pages."""
    return first_signal(kept.anew())


@pytest.fixture(scope="session")
def pages(kept, filled):
    """One address of every kind of page."""
    window = kept.anew()
    serial = window.go("/instruments").locator("a.serial").first.get_attribute("href")
    signal = first_signal(window)
    held = window.go("/hold").locator("a.name").first.get_attribute("href")
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
