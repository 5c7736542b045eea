"""People at a real board: the first sign-in, the PIN at the bench, the way back after a session has ended."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from qc.jobs.board.serving import running
from qc.jobs.new import new_workshop
from qc.jobs.people import add_person
from qc.jobs.workshop import open_workshop

pytestmark = pytest.mark.browser
WORDS = "anvil heron plum gate"


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A board with a list of two people; gives its workshop, its address and their one-time codes."""
    folder = tmp_path_factory.mktemp("people") / "shop"
    new_workshop(folder)
    workshop = open_workshop(folder)
    codes = {"QL": add_person(workshop, "QL", "lead", name="Quill Larch").one_time_code}
    codes["TK"] = add_person(workshop, "TK", "technician").one_time_code
    with running(folder) as (found, _):
        yield workshop, found.rstrip("/"), codes
    workshop.store.close()


@pytest.fixture
def page(chromium, shop):
    context = chromium.new_context(viewport={"width": 820, "height": 1180}, has_touch=True)
    yield context.new_page()
    context.close()


def fill(page, **fields):
    for name, value in fields.items():
        page.fill(f"input[name={name}]", value)
    page.click("button.do")


def test_from_the_first_sign_in_to_the_pin_and_out(page, shop):
    workshop, base, codes = shop
    page.goto(f"{base}/signals")
    assert page.url == f"{base}/sign-in?next=%2Fsignals"
    page.click("text=For the first time")
    fill(page, code="QL", once=codes["QL"], pin="1234", password=WORDS, again=WORDS)
    assert "first that anybody would try" in page.inner_text("[role=alert]")
    fill(page, once=codes["QL"], pin="4071", password=WORDS, again=WORDS)
    page.wait_for_selector("#page-title")
    assert page.url == f"{base}/signals"
    assert page.inner_text(".who span") == "Quill Larch, lead"
    page.click("text=Sign out")
    page.click("text=With the PIN")
    assert page.get_attribute("input[name=secret]", "inputmode") == "numeric"
    fill(page, code="QL", secret="4072")
    assert "do not fit" in page.inner_text("[role=alert]")
    fill(page, secret="4071")
    page.wait_for_selector("#page-title")
    assert page.inner_text(".who span") == "Quill Larch, technician, by PIN"
    workshop.store.end_sessions(code="QL")
    page.click("#nav >> text=Gauges")  # the page asks a callback, which nobody answers any more
    page.wait_for_url(f"{base}/sign-in?next=%2Fgauges")
    assert workshop.store.verify() == []


@pytest.mark.parametrize("way", ["password", "pin", "first"])
@pytest.mark.parametrize("width", [390, 1440])
def test_everybody_can_use_the_pages_before_the_door(page, shop, way, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.goto(f"{shop[1]}/sign-in?way={way}")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert Axe().run(page).response["violations"] == []
