"""A sheet that nobody can read is shown on the board: pointed at, looked at, read and remembered."""

from axe_playwright_python.sync_playwright import Axe

BOOK = "Fugenbuch\nStück;Tag;Hand;a;b\nQH-1401;10.11.2026;IS;1,8;311\nQH-1402;11.11.2026;IS;1,9;312\n"


def waiting(window, folder, name="book.csv", text=BOOK):
    """Hand a sheet in that waits for its layout, and open its page."""
    sheet = folder / name
    sheet.write_text(text, "utf-8")
    said = window.upload([sheet])
    assert f"{name} waits for its layout" in said
    own = window.page.locator("li.held-row", has_text=name)  # others may wait on this board
    own.get_by_role("link", name="Show what stands where").first.click()
    window.page.wait_for_selector("#layout-form")
    return window.page


def test_it_is_pointed_at_read_and_remembered(visit, tmp_path):
    window = visit(viewport={"width": 1440, "height": 1000})
    page = waiting(window, tmp_path)
    assert "What stands where on book.csv" in page.inner_text("#page-title")
    serious = [
        one["id"]
        for one in Axe().run(page).response["violations"]
        if one["impact"] in {"serious", "critical"}
    ]
    assert serious == []
    page.locator("#layout-way-form select[name=card]").select_option(label="Joints card")
    page.wait_for_selector("#layout-form option:has-text('Joint leak')", state="attached")
    page.get_by_label("What stands in column D").select_option(label="Joint leak")
    page.wait_for_selector("#layout-preview >> text=Two figures would be read")
    assert "QH-1401, 10 Nov 2026" in page.inner_text("#layout-preview")
    page.locator("#layout-form select[name=who]").select_option(index=1)
    page.get_by_role("button", name="Read it, and remember").click()
    page.wait_for_selector("#layout-receipt >> text=from one sheet", timeout=60_000)
    assert not page.locator("#layout-form").is_visible()
    again = tmp_path / "next.csv"
    again.write_text(BOOK.replace("QH-140", "QH-141"), "utf-8")
    assert "Read through the layout book" in window.upload([again])


def test_the_page_fits_a_narrow_window(visit, tmp_path):
    window = visit(viewport={"width": 390, "height": 844})
    page = waiting(window, tmp_path, "narrow.csv", BOOK.replace("Fugenbuch", "Fugenheft"))
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    page.locator("#layout-form select[name=meant]").first.focus()
    assert page.evaluate("document.activeElement.name") == "meant"
