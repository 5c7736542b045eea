"""The bench at a real board: by keyboard alone, by touch, with the board gone in between, on two tablets."""

import shutil
from contextlib import ExitStack
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from qc.jobs.board.serving import running
from qc.jobs.workshop import open_workshop

pytestmark = pytest.mark.browser
SLIDE = [f"{value:.3f}" for value in (13.901, 13.903, 13.899, 13.9, 13.898, 13.902) * 2]
BORES = [f"{value:.3f}" for value in (14.051, 14.049, 14.052, 14.05, 14.048, 14.053) * 2]
SPOTS = "15.2 14,8 15.9 15.5 14.9 17.1 16.6 15.0 15.1 14.4 15.9 16.2 15.3 14.7 15.8".split()


class Board:
    """A board that can be killed and started again at the same address."""

    def __init__(self, folder):
        self.folder, self.stack = folder, ExitStack()
        self.address, self.process = self.stack.enter_context(running(folder))
        self.address = self.address.rstrip("/")

    def kill(self):
        self.process.kill()
        self.process.wait()
        self.stack.close()

    def start(self):
        port = urlsplit(self.address).port
        _, self.process = self.stack.enter_context(running(self.folder, port=port))


@pytest.fixture(scope="module")
def board(demo_folder, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench") / "shop"
    shutil.copytree(demo_folder, folder)
    own = Board(folder)
    yield own
    own.stack.close()


@pytest.fixture
def tablet(chromium):
    """Open a window that remembers its complaints; gives its page."""
    opened = []

    def window(width=820, **how):
        context = chromium.new_context(viewport={"width": width, "height": 1100}, **how)
        page = context.new_page()
        page.complaints = []
        page.on("console", lambda m: m.type == "error" and page.complaints.append(m.text))
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        opened.append(context)
        return page

    yield window
    for context in opened:
        context.close()


def begin(page, board, card, serial, **boxes):
    page.goto(f"{board.address}/bench/{card}?serial={serial}")
    for label, value in boxes.items():
        page.select_option(f"select[name='{label.replace('_', ' ')}']", value)
    page.click("#bench-boxes button.do")
    page.wait_for_selector("#bench-type:not([hidden])")


def kept(board, serial, stage):
    workshop = open_workshop(board.folder)
    rows = workshop.store.readings(serials=[serial], stage=stage)
    assert workshop.store.verify() == []
    workshop.store.close()
    return rows


def test_a_slide_card_by_keyboard_alone_with_a_slip_caught_and_mended(tablet, board):
    page = tablet(1440)
    page.goto(f"{board.address}/bench")
    press = page.keyboard.press
    for text in ("QH-1219", "slide-card"):  # a scanner types and ends with Enter
        page.wait_for_selector("input:focus")  # nobody scans before the page is there
        page.keyboard.type(text)
        with page.expect_navigation():
            press("Enter")
    assert page.url.endswith("/bench/slide-card?serial=QH-1219")
    expect(page.locator("select[name=Model]")).to_have_value("tenor")
    page.locator("select[name=Person]").press("F")
    page.locator("#bench-boxes button.do").press("Enter")
    page.wait_for_selector("#bench-type:not([hidden])")
    assert page.inner_text("#bench-count") == "1 of 24"
    assert page.locator(".mark.here").count() == 3  # ring, direction, surface
    slipped = [*SLIDE[:5], "1.3902", *SLIDE[6:], *BORES]
    for figure in slipped:
        page.keyboard.type(figure)
        press("Enter")
    page.wait_for_selector("#bench-last:not([hidden]) .bench-ask", timeout=60_000)
    told = "Inner OD, upper leg, crook, 90°, stocking: 1.3902 mm is a tenth of the usual 13.9 mm."
    assert told in page.inner_text("#bench-open")
    take = page.locator(".bench-ask button", has_text="Take 13.902")
    page.wait_for_load_state("networkidle")  # an answer draws the question anew: the focus goes
    for _ in range(12):
        if page.evaluate("document.activeElement.textContent") == "Take 13.902":
            break
        press("Shift+Tab")
    assert take.evaluate("part => part === document.activeElement")
    press("Enter")
    expect(page.locator("#bench-open")).not_to_contain_text("1.3902")
    page.locator("#bench-hand").press("Enter")
    page.wait_for_url("**/bench/done/*", timeout=60_000)
    assert "QH-1219" in page.inner_text("p.lead")
    rows = kept(board, "QH-1219", "slide")
    assert rows["text"].to_list().count("13.902") == 2 and rows.height == 24
    assert page.complaints == []


def test_a_card_by_touch_goes_on_where_the_tablet_died_and_comes_in_once_though_the_board_was_killed(
    tablet, board
):
    page = tablet(has_touch=True)
    begin(page, board, "lacquer-card", "QH-1218", Person="FN", Gauge="EC-1")
    for text in SPOTS[:3]:
        for sign in text.replace(".", ","):
            page.tap(f"#bench-pad [data-sign='{sign}']")
        page.tap("#bench-next")
    page.reload()  # the tablet died: what was typed is on it
    page.tap("text=Go on with it")
    expect(page.locator("#bench-count")).to_contain_text("4 of 15")
    page.context.set_offline(True)
    for text in SPOTS[3:]:
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    page.tap("#bench-hand")
    page.wait_for_selector("#bench-news:has-text('The board is not reached')")
    page.context.set_offline(False)
    board.kill()
    board.start()
    page.wait_for_url("**/bench/done/*", timeout=60_000)
    rows = kept(board, "QH-1218", "lacquer")
    assert rows["text"].to_list() == [text.replace(".", ",") for text in SPOTS[:3]] + SPOTS[3:]
    assert page.evaluate("Object.keys(localStorage).filter(key => key.startsWith('bench-draft'))") == []
    assert page.locator("table.places td").count() == 15


def test_the_second_tablet_on_a_card_is_told(tablet, board):
    first, second = tablet(), tablet()
    for page in (first, second):
        begin(page, board, "force-card", "QH-1217", Person="BK")
    second.keyboard.type("1.2")
    first.keyboard.type("1.1")
    first.keyboard.press("Enter")
    second.keyboard.press("Enter")
    second.wait_for_selector("#bench-news:has-text('begun on another tablet')", timeout=30_000)
    assert "begun on another tablet" not in first.inner_text("#bench-news")
    assert first.complaints == second.complaints == []


@pytest.mark.parametrize("width", [1440, 820, 390])
def test_everybody_can_use_the_bench_at_every_width(tablet, board, width):
    page = tablet(width, has_touch=width < 1000)
    page.goto(f"{board.address}/bench")
    checked = [Axe().run(page).response["violations"]]
    wide = [page.evaluate("document.documentElement.scrollWidth")]
    page.goto(f"{board.address}/bench/slide-card")
    checked.append(Axe().run(page).response["violations"])
    begin(page, board, "slide-card", "QH-1213", Person="FN")
    page.keyboard.type("1.4202")
    page.keyboard.press("Enter")
    page.wait_for_selector(".bench-ask", timeout=60_000)
    page.click("#bench-all summary")
    checked.append(Axe().run(page).response["violations"])
    wide.append(page.evaluate("document.documentElement.scrollWidth"))
    assert checked == [[], [], []]
    assert max(wide) <= width
    assert page.complaints == []


def test_whoever_stands_on_an_answer_goes_on_standing_there_when_the_questions_are_written_anew(
    tablet, board
):
    page = tablet(1440)
    begin(page, board, "slide-card", "QH-1219", Person="FN")
    for figure in [*SLIDE[:5], "1.3902"]:
        page.keyboard.type(figure)
        page.keyboard.press("Enter")
    page.wait_for_selector("#bench-asks .bench-ask", timeout=60_000)
    held = []
    page.route("**/bench/check", lambda route: held.append(route))  # the answer to the next figure comes late
    page.keyboard.type(SLIDE[6])
    page.keyboard.press("Enter")
    page.wait_for_timeout(2000)
    assert held
    page.locator("#bench-asks button", has_text="Take 13.902").focus()
    page.evaluate("document.querySelector('#bench-asks button').dataset.before = 'yes'")
    for route in held:
        route.continue_()
    expect(page.locator("#bench-asks button[data-before]")).to_have_count(0, timeout=60_000)
    assert page.evaluate("document.activeElement.textContent") == "Take 13.902"
