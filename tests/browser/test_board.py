"""The board in a real browser: sheets in, findings seen, nothing leaves the machine, everyone can use it."""

import re
import time
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from sample_measurements import folder as sample_folder

pytestmark = pytest.mark.browser

NEWEST = sorted((sample_folder() / "sheets" / "lacquer").iterdir())[-1]
STAGE = "/stages/lacquer/thickness/all"
INK = "getComputedStyle(document.body).color"
DARK = {"runOnly": ["color-contrast"], "resultTypes": ["violations"]}
PHONE, WIDE, NARROWER = ({"width": w, "height": h} for w, h in ((390, 844), (1440, 900), (1024, 768)))

CUT = """() => [...document.querySelectorAll('.js-plotly-plot')].flatMap(plot => {
    const sheet = plot.getBoundingClientRect();
    return [...plot.querySelectorAll('.main-svg text')].filter(text => {
        const own = text.getBoundingClientRect();
        return own.width && (own.left < sheet.left - 1 || own.right > sheet.right + 1);
    }).map(text => text.textContent);
})"""
"""The words of all charts of a page that reach over the edge of their picture."""


def newest_piece(window):
    return window.go(STAGE).locator("details a.serial").first.text_content()


def test_a_first_visitor_is_told_what_to_do(visit):
    page = visit().go("/")
    if "No sheet has come in yet" in page.inner_text("main"):  # else a later test filled the workshop first
        page.click("text=Hand in the first sheets")
        page.wait_for_selector("#sheets-choose")
    else:
        assert page.locator(".find").count() > 0


def test_sheets_handed_in_are_answered_with_a_receipt(filled):
    accepted, sheets, held = map(
        int, re.search(r"(\d+) rows accepted from (\d+) sheets, (\d+) held", filled).groups()
    )
    lines = [
        line.split("\t") for line in filled.splitlines() if line.count("\t") >= 4 and line[:5] != "Sheet"
    ]
    assert len(lines) == sheets == 36
    assert sum(int(line[2]) for line in lines) == accepted > 1000
    assert sum(int(line[3]) for line in lines) == held
    assert all(int(line[1]) == int(line[2]) + int(line[3]) + int(line[4]) for line in lines)


def test_what_was_uploaded_is_seen_on_the_board(visit, filled):
    window = visit()
    before = newest_piece(window)
    text = window.upload([NEWEST])
    assert re.search(r"^[1-9]\d* rows accepted from one sheet", text, re.MULTILINE)
    assert newest_piece(window) > before
    home = window.go("/")
    assert "moved" in home.inner_text("#page-title")
    assert "Lacquer thickness has" in home.inner_text(".finds")
    again = window.upload([NEWEST])
    assert re.search(r"^0 rows accepted from one sheet.* known already", again, re.MULTILINE)


def test_sheets_can_be_dropped(visit, filled):
    window = visit()
    page = window.go("/sheets")
    drop = """() => {
        const sheet = new DataTransfer();
        sheet.items.add(new File(['nothing that is a sheet'], 'note.csv'));
        const zone = document.getElementById('sheets-drop');
        for (const kind of ['dragover', 'drop']) {
            zone.dispatchEvent(new DragEvent(kind, {dataTransfer: sheet, bubbles: true, cancelable: true}));
        }
    }"""
    page.evaluate(drop)
    text = window.receipt()
    assert "could not be read" in text and "note.csv" in text


NEXT_ROW = """id => {
    const rows = [...document.querySelectorAll('.held-row')];
    return rows[rows.findIndex(one => one.id === id) + 1]?.id ?? null;
}"""


def test_a_mend_is_accepted_with_one_click(visit, filled):
    page = visit().go("/sheets")
    page.locator("#held-who").select_option(index=1)
    row = page.locator(".held-row", has_text="Proposed:").first
    place = row.get_attribute("id")
    following = page.evaluate(NEXT_ROW, place)
    row.locator("[data-mend]").click()
    page.wait_for_selector(f"#{place}.settled", timeout=60_000)
    assert "is accepted" in page.inner_text(f"#{place}")
    assert page.locator(f"#{place} form").count() == 0
    # whoever works down the list goes on with the keyboard, and hears what became of the row
    assert following and page.evaluate("document.activeElement.closest('.held-row').id") == following
    assert "is accepted" in page.inner_text("#announce")
    # judging does not keep the next row waiting: it follows, and the page says when it is done
    assert "follow once no further decision comes" in page.inner_text("#sheets-judged")
    page.wait_for_selector("#sheets-judged:has-text('What was settled is judged')", timeout=60_000)


def test_while_a_row_is_in_hand_the_others_can_be_decided(visit, filled):
    """The first answer is held back; the second row is settled meanwhile, its buttons were alive."""
    window = visit()
    page = window.go("/sheets")
    page.locator("#held-who").select_option(index=1)
    first, other = (page.locator(".held-row").nth(n).get_attribute("id") for n in (0, 1))
    waiting = []
    page.route("**/held/decide", lambda route: route.continue_() if waiting else waiting.append(route))
    for place in (first, other):
        page.locator(f"#{place} summary").click()
        aside = page.locator(f"#{place}").get_by_text("Set aside", exact=True)
        aside.click()
        if place == first:
            page.wait_for_function(f"document.querySelector('#{first} form').dataset.inhand === 'yes'")
            assert aside.is_disabled()
            alive = page.locator(f"#{other} button").evaluate_all("all => all.every(one => !one.disabled)")
            assert alive
    page.wait_for_selector(f"#{other}.settled", timeout=60_000)
    assert page.locator(f"#{first}.settled").count() == 0
    waiting[0].continue_()
    page.wait_for_selector(f"#{first}.settled", timeout=60_000)


def test_a_held_row_that_is_set_aside_disappears(visit, filled):
    window = visit()
    page = window.go("/sheets")
    page.locator("#held-who").select_option(index=1)
    row = page.locator(".held-row").last
    place = row.get_attribute("id")
    rows = row.locator("input[name=rows]").get_attribute("value").split(",")
    row.locator("summary").click()
    row.get_by_text("Set aside", exact=True).click()
    page.wait_for_selector(f"#{place}.settled", timeout=60_000)
    text = page.inner_text(f"#{place}")
    # a single row by its number and by the piece it speaks of, several in one line
    alone = rf"Row {rows[0]} \([^()]+\) is set aside; it stays on record as typed\."
    together = rf"{len(rows)} rows are set aside; they stay on record as typed\."
    assert re.fullmatch(alone if len(rows) == 1 else together, text.strip())
    page = window.go("/sheets")
    assert page.locator(f"input[name=rows][value='{','.join(rows)}']").count() == 0


def test_nothing_is_said_of_a_signal_without_a_name(visit, signal):
    window = visit()
    page = window.go(signal)
    page.locator("#signals-form").get_by_text("Keep ticks and remark").click()
    page.wait_for_selector(".form-said p:has-text('Choose who says it')")
    # Chromium itself notes on its console that the answer was a refusal
    assert all("status of 400" in text for text in window.complaints)
    window.complaints = []


def asked_elsewhere(window):
    """Return what a window asked of anybody but its board, after it asked the board for something at all."""
    home = urlsplit(window.base).netloc
    assert len(window.asked) > 20
    return [
        u for u in window.asked if urlsplit(u).scheme not in {"data", "blob"} and urlsplit(u).netloc != home
    ]


def test_no_request_leaves_the_machine_whatever_is_taken_from_a_chart(visit, filled):
    """That no page asks elsewhere as it loads is seen below, where each is loaded once for all that."""
    window = visit()
    page = window.go(STAGE)
    page.hover(".js-plotly-plot")
    page.wait_for_selector(".modebar-btn")
    titles = page.locator(".modebar-btn").evaluate_all("b => b.map(x => x.dataset.title)")
    assert titles and not [t for t in titles if "loud" in t or "chart-studio" in t]
    assert set(titles) == {"Save the picture"}
    for form in ("csv", "xlsx", "parquet"):
        with page.expect_download() as taken:
            page.locator(".taking").get_by_text(form, exact=True).click()
        assert taken.value.suggested_filename == f"lacquer_thickness_all.{form}"
    with page.expect_download() as taken:
        page.locator("[data-picture]").click()
    assert taken.value.suggested_filename == "Lacquer — Lacquer thickness.png"
    assert asked_elsewhere(window) == []


def test_everyone_can_use_every_page(visit, pages):
    # axe-core, rules of WCAG 2.2 A and AA and its best practices; serious and critical findings fail. What is
    # folded away is opened first: it is part of the page.
    window = visit(color_scheme="light", reduced_motion="reduce", bypass_csp=True)  # no colour on its way
    window.complaints = []
    found = []
    for path in pages:
        page = window.go(path)
        if path == STAGE:
            page.wait_for_selector(".js-plotly-plot .main-svg")
        page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true; })")
        faults = [("light", fault) for fault in Axe().run(page).response["violations"]]
        # The dark theme changes colours and nothing else.
        ink = page.evaluate(INK)
        page.emulate_media(color_scheme="dark")
        assert page.evaluate(INK) != ink
        in_the_dark = Axe().run(page, options=DARK).response["violations"]
        faults += [("dark", fault) for fault in in_the_dark]
        page.emulate_media(color_scheme="light")
        for scheme, fault in faults:
            if fault["impact"] in {"serious", "critical"}:
                found.append((path, scheme, fault["id"], fault["nodes"][0]["html"][:200]))
    assert found == []


def test_a_chart_tells_each_readings_story_and_leads_to_its_instrument(visit, filled):
    window = visit()
    page = window.go(STAGE)
    page.wait_for_selector(".js-plotly-plot .points path")
    spot = page.locator("#stage-chart .trace").first.locator("path.point").last.bounding_box()
    middle = spot["x"] + spot["width"] / 2, spot["y"] + spot["height"] / 2
    page.mouse.move(*middle)
    page.wait_for_selector("#stage-chart .hoverlayer text")
    told = page.locator("#stage-chart .hoverlayer").text_content()
    assert "QH-" in told and "readings" in told and "µm" in told
    page.mouse.click(*middle)
    page.wait_for_url("**/instruments/QH-*")
    newest = page.url.rpartition("/")[2]
    page = window.go(STAGE)  # and the same by the keyboard
    page.wait_for_selector(".js-plotly-plot .points path")
    page.locator("figure[data-walked]").focus()
    page.keyboard.press("End")
    page.wait_for_function(f"document.getElementById('announce').textContent.startsWith('{newest}')")
    page.keyboard.press("ArrowLeft")
    page.wait_for_function(f"!document.getElementById('announce').textContent.startsWith('{newest}')")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/instruments/{newest}")
    # the piece's page: its figures, each beside the pieces made before it
    serial = page.url.rpartition("/")[2]
    assert serial in told
    expect(page.locator("#page-title")).to_have_text(serial)
    expect(page.locator("#instruments-one th", has_text="Among those before it")).to_have_count(1)


def test_the_keyboard_reaches_a_stage_and_sees_where_it_is(visit, filled):
    page = visit().go("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    for _ in range(40):  # past every page of the navigation
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('.stops') !== null"):
            break
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert outline == "3px"
    page.keyboard.press("Enter")
    page.wait_for_url("**/stages/*")
    page.wait_for_selector("#page-title:focus")


def test_no_page_is_wider_than_its_screen_or_asks_elsewhere(visit, pages):
    """Each page as a phone loads it, then on a wide and a narrower screen; no label of a chart is cut."""
    window = visit(viewport=PHONE)
    for path in [*pages, "/rework/all", "/also/gauge/EC-1"]:
        page = window.go(path)
        assert widest(page) <= PHONE["width"], path
        assert page.evaluate(CUT) == [], path
        for size in (WIDE, NARROWER):
            page.set_viewport_size(size)
            end = time.monotonic() + 5  # charts follow the window a moment later
            while widest(page) > size["width"] and time.monotonic() < end:
                page.wait_for_timeout(50)
            assert widest(page) <= size["width"], (path, size)
        page.set_viewport_size(PHONE)
    assert asked_elsewhere(window) == []


def widest(page):
    """Return how far the page reaches to the right, in pixels."""
    return page.evaluate("document.documentElement.scrollWidth")


def test_on_a_phone_the_tube_stands_upright(visit, filled):
    wide, phone = visit().go("/"), visit(viewport={"width": 420, "height": 900}).go("/")
    lying, upright = (page.locator(".pipe").bounding_box() for page in (wide, phone))
    assert lying["width"] > 10 * lying["height"] and upright["height"] > 10 * upright["width"]
    assert phone.locator(".upright").is_visible() and not phone.locator(".lying").is_visible()


def test_the_reader_may_choose_the_dark_theme_and_keeps_it(visit, filled):
    window = visit(color_scheme="light")
    page = window.go("/")
    page.click("#theme-switch")
    page.wait_for_selector("html[data-theme=dark]")
    page = window.go(STAGE)
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"
    page.wait_for_selector(".js-plotly-plot .points path")
    strokes = page.locator("#stage-chart path.point").evaluate_all(
        "p => p.map(x => getComputedStyle(x).stroke)"
    )
    assert "rgb(236, 233, 225)" in strokes and "rgb(29, 42, 49)" not in strokes


def test_a_page_prints_light_and_without_its_controls(visit, filled):
    window = visit(color_scheme="dark")
    page = window.go(STAGE)
    page.emulate_media(media="print", color_scheme="dark")
    assert not page.locator("nav").is_visible() and not page.locator("#theme-switch").is_visible()
    assert (
        page.evaluate("getComputedStyle(document.querySelector('.card')).backgroundColor")
        == "rgb(255, 254, 251)"
    )


def test_a_signal_prints_its_steps_and_not_its_form(visit, signal):
    page = visit().go(signal)
    page.wait_for_selector("#signals-chart .main-svg")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    form = page.locator("#signals-form")
    assert form.locator(".checks").is_visible() and page.locator("#signals-chart").is_visible()
    assert form.locator("button:visible").count() == form.locator("select:visible").count() == 0


def test_charts_shrink_to_the_sheet_of_paper(visit, filled, tmp_path):
    page = visit().go(STAGE)
    page.wait_for_selector("#stage-chart path.point")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    page.set_viewport_size({"width": 640, "height": 900})
    page.emulate_media(media="print")
    drawing = page.locator("#stage-chart .main-svg").first.bounding_box()
    sheet = page.locator("#stage-chart").bounding_box()
    assert drawing["x"] + drawing["width"] <= sheet["x"] + sheet["width"] + 1
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.locator("#stage-chart .main-svg[viewBox]").count() == 0


def test_a_classic_rule_is_off_until_it_is_switched_on(visit, filled):
    page = visit().go(STAGE)
    page.wait_for_selector("#stage-chart path.point")
    fold = page.locator("#stage-rules-fold")
    fold.locator("summary").click()
    assert fold.locator("input:checked").count() == 1  # the kind of limits, and no rule
    fold.locator(".tick", has_text="beyond-limit").click()
    page.wait_for_selector("#stage-rules-price:has-text('one false signal in 370 pieces')")
    page.wait_for_selector("#stage-chart text:has-text('textbook')")
    fold.locator(".tick", has_text="beyond-limit").click()
    page.wait_for_selector("#stage-chart text:has-text('textbook')", state="detached")
    # the price comes by an answer of its own, which may follow that of the chart
    expect(page.locator("#stage-rules-price")).to_have_text("")


def test_a_lead_leaves_a_piece_out_and_takes_it_back(visit, filled):
    page = visit().go(STAGE)
    serial = page.locator("details a.serial").first.text_content()
    form = page.locator("#stage-decide")
    page.locator(".decide > summary", has_text="Freeze a settled state").click()
    form.locator("input[name=first]").fill(serial)
    form.locator("select[name=who]").select_option("IS")
    form.locator("input[name=why]").fill("measured on another day")
    form.get_by_text("Leave out", exact=True).click()
    page.wait_for_selector("#stage-said:has-text('Kept.')", timeout=60_000)
    page.wait_for_selector("figcaption:has-text('left out on purpose, in no figure (1)')")
    page.locator(".decision summary").click()
    page.locator(".decision select").select_option("IS")
    page.locator(".decision input[name=why]").fill("it was right")
    page.locator(".decision button").click()
    page.wait_for_selector(".decision", state="detached", timeout=60_000)


def test_a_piece_is_released_and_kept_back_by_name_and_reason(visit, filled):
    window = visit()
    serial = window.go("/hold").locator(".row.bare .name").first.text_content()
    page = window.go(f"/hold/{serial}")
    form = page.locator("#hold-decide")
    assert form.locator("select[name=who]").input_value() == ""
    form.locator("input[name=why]").fill("measured again, inside")
    form.locator("select[name=who]").select_option("IS")
    form.locator("button[value=release]").click()
    page.wait_for_selector("#hold-said:has-text('released by IS')", timeout=60_000)
    page.wait_for_selector("#hold-body:has-text('Released by IS on')")
    form.locator("input[name=why]").fill("not so fast")
    form.locator("select[name=who]").select_option("IS")
    form.locator("button[value=keep]").click()
    page.wait_for_selector("#hold-body:has-text('kept back by IS: not so fast')", timeout=60_000)


def test_a_gauge_study_is_answered_on_the_page(visit, filled):
    rows = [
        f"T{part},{who},{part + n / 10 + (who == 'B') / 20}"
        for part in range(6)
        for who in "AB"
        for n in (0, 1)
    ]
    sent = {
        "name": "study.csv",
        "mimeType": "text/csv",
        "buffer": "\n".join(["part,person,value", *rows]).encode(),
    }
    page = visit().go("/gauges")
    page.set_input_files("input[name=study]", sent)
    page.get_by_text("Study this gauge").click()
    page.wait_for_selector("#gauges-answer .lead", timeout=60_000)
    assert "6 parts, two persons, two readings each" in page.inner_text("#gauges-answer")
    page.wait_for_selector("#gauges-study-chart .main-svg")


def test_nothing_moves_by_itself(visit, filled):
    page = visit().go("/")
    assert page.evaluate("document.getAnimations().length") == 0


def test_closing_a_signal_makes_its_series_steady_on_today(visit, filled):
    # last in the file: the other tests look at the workshop while it drifts
    window = visit()
    page = window.go("/signals")
    before = window.go("/").locator(".find").count()
    assert before > 0
    page = window.go("/signals")
    page.locator(".row", has_text="Lacquer thickness has").locator("a.name").first.click()
    page.wait_for_selector("#signals-form")
    page.select_option("#signals-form select[name=who]", "IS")
    page.locator("#signals-form .tick input").first.check()
    page.click("#signals-close summary")
    page.select_option("#signals-form select[name=cause]", "nozzle")
    page.fill("#signals-form input[name=action]", "nozzle changed")
    # Chromium itself notes on its console that the answer was a refusal
    with page.expect_console_message(lambda message: "status of 400" in message.text):
        page.click("text=Close with this cause")
    # what is missing is said in the form that was sent, and nothing is kept
    page.wait_for_selector("#signals-form .form-said p:has-text('what became of the cause')")
    assert page.inner_text("#signals-said") == ""
    assert "Nobody has said anything of it yet." in visit().go(urlsplit(page.url).path).inner_text(
        "#signals-body"
    )
    assert all("status of 400" in text for text in window.complaints)
    window.complaints = []
    page.select_option("#signals-form select[name=outcome]", "mended")
    page.click("text=Close with this cause")
    page.wait_for_selector("#signals-said >> text=now closed", timeout=60_000)
    assert "now closed" in page.inner_text("#signals-said")
    life = page.inner_text(".life")
    assert "Cause mended." in life and "no piece made after the mend" in page.inner_text("#signals-body")
    page.click("#signals-body summary:has-text('Tick one off')")
    page.select_option("#signals-pieces select[name=who]", "IS")
    page.select_option("#signals-pieces select[name=first]", index=1)
    page.fill("#signals-pieces input[name=text]", "stripped and sprayed anew")
    page.click("text=Tick it off")
    page.wait_for_selector("#signals-body td >> text=stripped and sprayed anew", timeout=60_000)
    assert "IS" in life and "Cause: nozzle." in life and "Done: nozzle changed." in life and "Ticked:" in life
    home = window.go("/")
    assert home.locator(".find").count() == before - 1
    assert "Lacquer thickness has" not in home.inner_text("main")
