"""The wall, the sheet of the day and the office's pages in a real browser."""

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe

pytestmark = pytest.mark.browser


def plain(window, path):
    window.page.goto(window.base + path)
    return window.page


def no_fault_at(page, *widths):
    for width in widths:
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert Axe().run(page).response["violations"] == []


def test_the_wall_fills_one_screen_and_keeps_itself_up_to_date(visit, filled):
    window = visit(own=True, viewport={"width": 1920, "height": 1080})  # its clock cannot be put back
    window.page.clock.install()
    page = plain(window, "/wall")
    page.wait_for_function(
        "document.getElementById('heard').textContent.startsWith('Heard from the board at')"
    )
    assert page.evaluate("document.documentElement.scrollHeight") <= 1080
    foot = page.locator("footer").bounding_box()["y"]
    for part in page.locator("main > section").all():
        box = part.bounding_box()
        assert box["y"] + box["height"] <= foot
    smallest = page.evaluate(
        "Math.min(...[...document.querySelectorAll('#wall p, #wall dt, #wall dd, #wall li')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert smallest >= 34
    no_fault_at(page, 390, 1920)
    page.evaluate("window.before = document.querySelector('h1'); window.kept = true")
    fresh = "<header><h1>Something new</h1></header>"
    page.route("**/wall/now", lambda route: route.fulfill(body=fresh, content_type="text/html"))
    page.clock.run_for(31_000)
    page.wait_for_selector("text=Something new")
    assert page.evaluate("window.kept && !window.before.isConnected")  # put in its place, not loaded anew


def test_a_wall_that_hears_nothing_turns_old_and_says_so(visit, filled):
    window = visit(own=True, viewport={"width": 1920, "height": 1080})  # its clock cannot be put back
    window.page.clock.install()
    page = plain(window, "/wall")
    page.wait_for_function("document.getElementById('heard').textContent.startsWith('Heard')")
    page.route("**/wall/now", lambda route: route.abort())
    page.clock.run_for(190_000)
    page.wait_for_selector("body.old")
    assert "Not heard from the board for 3 minutes" in page.inner_text("#heard")
    page.unroute("**/wall/now")
    page.clock.run_for(31_000)
    page.wait_for_selector("body:not(.old)")
    window.complaints.clear()  # the browser itself complains of requests that were cut off


def test_the_day_prints_on_one_side(visit, filled, tmp_path):
    page = plain(visit(), "/day")
    page.evaluate(  # as full as it can be
        "for (const list of document.querySelectorAll('.finds, ul'))"
        " for (let n = 0; n < 6; n++) list.append(list.lastElementChild.cloneNode(true))"
    )
    page.pdf(path=tmp_path / "day.pdf", prefer_css_page_size=True)
    printed = pypdfium2.PdfDocument(tmp_path / "day.pdf")
    assert len(printed) == 1 and [round(side) for side in printed[0].get_size()] == [595, 842]
    words = printed[0].get_textpage().get_text_range()
    assert "What moved, worst first" in words and "Print this side" not in words
    no_fault_at(plain(visit(), "/day"), 820, 390)


def test_a_plan_is_edited_checked_and_saved(visit, address):
    window = visit()
    no_fault_at(window.go("/plan"), 1440, 390)
    no_fault_at(window.go("/people"), 390)
    page = plain(window, "/plan/edit")
    no_fault_at(page, 820)
    text = page.input_value("textarea")
    page.fill("textarea", text.replace("wanted_ppk: 1.0", "wanted_ppk: much"))
    page.click("button[value=check]")
    page.wait_for_selector("[role=alert]")
    assert "wanted_ppk" in page.inner_text("[role=alert]") and "much" in page.input_value("textarea")
    window.complaints.clear()  # an answer that refuses is an error to the browser
    page.fill("textarea", f"{text}# tried on the board\n")
    page.fill("[name=why]", "to see it saved")
    page.select_option("[name=who]", "IS")
    page.click("button[value=save]")
    page.click("text=What differs from version")
    page.wait_for_selector(".compared")
    assert "+ # tried on the board" in page.inner_text(".compared")
    assert "to see it saved" in page.inner_text("main")
