"""A sheet in a bench's own words: all is asked at once, answered with one button, and not asked again."""

NOTEBOOK = "Joints card\n\nGemessen;Werkzahl;Modell;Durchgang;Ofen\n{day};{serial};tenor;1,8;311\n"


def hand_in(window, folder, name, day, serial, figure="Durchgang"):
    sheet = folder / name
    text = NOTEBOOK.replace("Durchgang", figure).format(day=day, serial=serial)
    sheet.write_text(text, "utf-8")
    return window.upload([sheet])


def answer(window, day):
    """Answer the question in view and return the receipt that follows."""
    form = window.page.locator("#sheets-question-0")
    for asked in form.locator("label.heading-question").all():
        typed, choice = asked.locator("b").inner_text(), asked.locator("select")
        meant = {"Durchgang": "Joint leak", "Ofen": "keep beside"}.get(typed)
        if meant:
            choice.select_option(meant)
    form.locator("select[name=dates]").select_option(label=day)
    form.get_by_role("button", name="Read it so").click()
    window.page.wait_for_selector("#sheets-receipt >> text=rows accepted", timeout=60_000)
    return window.receipt()


def test_headings_and_dates_are_asked_once_and_the_same_line_is_then_read_silently(visit, tmp_path):
    window = visit()
    said = hand_in(window, tmp_path, "one.csv", "10/11/2026", "QH-1213")
    assert "does not know 4 headings" in said and "One sheet waits for your answer" in said
    guessed = window.page.locator("#sheets-question-0 select[name=meant]").evaluate_all(
        "all => all.map(one => one.value)"
    )
    assert guessed == ["Date", "Serial", "", ""]  # what the cells say is offered, a figure is asked for
    read = answer(window, "10 Nov 2026, the day first")
    assert "1 rows accepted from one sheet" in read and "Ofen kept beside" in read
    again = hand_in(window, tmp_path, "two.csv", "11/11/2026", "QH-1214")
    assert "What do these headings mean" not in again
    assert "1 rows accepted from one sheet" in again and "dates with the day first" in again


def test_the_questions_fit_a_narrow_window(visit, tmp_path):
    window = visit(viewport={"width": 390, "height": 844})
    hand_in(window, tmp_path, "narrow.csv", "10/11/2026", "QH-1394", "Undichte")
    assert window.page.locator("#sheets-question-0").is_visible()
    assert window.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
