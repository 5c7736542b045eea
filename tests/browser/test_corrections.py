"""A reading put right, and a decision undone, in a real browser."""

import pytest

pytestmark = pytest.mark.browser


def piece_of(window):
    """Open the page of the piece that was lacquered last, its readings unfolded."""
    newest = window.go("/stages/lacquer/thickness/all").locator("details a.serial").first.text_content()
    page = window.go(f"/instruments/{newest}")
    page.wait_for_selector("#instruments-one details.card")
    page.evaluate("document.querySelectorAll('details.card').forEach(one => { one.open = true; })")
    return page


def test_a_reading_is_put_right_on_the_page_of_its_piece(visit, filled):
    window = visit()
    page = piece_of(window)
    line = page.locator("#instruments-one tr:has(summary)", has_text="Lacquer thickness").first
    line.locator("summary").click()
    form = page.locator("form[id^=reading-form]").first
    form.locator("input[name=value]").fill("15.3")
    form.get_by_role("button", name="Put right", exact=True).click()
    page.wait_for_selector(".form-said p:has-text('Choose who says it')")
    # Chromium itself notes on its console that the answer was a refusal
    assert all("status of 400" in text for text in window.complaints)
    window.complaints = []
    assert form.locator("select[name=who]").input_value() == ""
    form.locator("select[name=who]").select_option(index=1)
    form.locator("input[name=why]").fill("read beside the spot")
    form.get_by_role("button", name="Put right", exact=True).click()
    page.wait_for_selector("#instruments-said .card", timeout=60_000)
    said = page.inner_text("#instruments-said")
    assert "becomes 15.3" in said and "Judged anew" in said
    assert "corrected by" in page.locator("#instruments-one").text_content()


def test_held_rows_are_chosen_and_a_decision_is_undone(visit, filled):
    page = visit().go("/sheets")
    page.locator("#held-who").select_option(index=1)
    row = page.locator(".held-row", has_text="Proposed:").first
    place = row.get_attribute("id")
    row.locator("[data-mend]").click()
    page.wait_for_selector(f"#{place}.settled", timeout=60_000)
    page.locator("summary", has_text="Undo a decision").click()
    form = page.locator("#sheets-decided form").first
    form.locator("input[name=why]").fill("it was another piece")
    form.get_by_role("button", name="Undo").click()
    page.wait_for_selector("#sheets-receipt :text('waits again')", timeout=60_000)
