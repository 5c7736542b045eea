"""The page on which a sheet's layout is shown: what it asks, what it answers, what it refuses."""

import pytest

from dashboard.pages.showing import pointing

HOME = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
SHEET = "cd" * 32
ANSWER = {
    "sheet": SHEET,
    "card": "wall-card",
    "are": "rows",
    "first": "3",
    "at": ["0", "1", "2"],
    "meant": ["serial", "wall|station=1", ""],
    "unit": ["", "mm", ""],
    "who": "RA",
}


def test_cells_stand_under_letters_and_what_is_proposed_stands_first(in_app, texts):
    said = texts(pointing.layout(SHEET))
    assert "What stands where on wall_0443.csv" in said and "the columns fit none" in said
    assert "Column B: Wand <b>" in said and "0,52, 0,55" in said, "text of a sheet is text, whatever it says"
    assert "Two figures would be read." in said and "K-1, 3 Mar 2026" in said and "not taken: C3" in said
    form = repr(pointing.layout(SHEET))
    assert form.index("Option(children='Wall, 1'") < form.index("Option(children='Wall, 2'")
    assert "Unit in column B" in form and "What stands in column B" in form


def test_a_sheet_that_waits_no_more_has_no_page(in_app, texts):
    assert "This sheet waits no more." in texts(pointing.layout("ab" * 32))


def test_what_cannot_be_read_yet_is_said_in_the_preview(in_app, texts):
    said = texts(pointing._preview(SHEET, {"meant": ["", "", ""]}))
    assert "It cannot be read so yet:" in said and "in which column the serial stands" in said


def test_what_was_pointed_at_is_handed_to_the_worker_as_a_layout(client, desk):
    assert client.post("/sheets/show", headers=HOME, data=ANSWER).status_code == 200
    assert desk.shown == [(SHEET, "layouts:\n", "RA")]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sheet": "ab" * 32}, "This sheet waits no more"),
        ({"meant": ["", "", ""]}, "It cannot be read so yet"),
        ({"who": ""}, "Choose who shows it"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_queued(client, desk, change, said):
    answer = client.post("/sheets/show", headers=HOME, data={**ANSWER, **change})
    assert answer.status_code == 400 and answer.json["problem"].startswith(said)
    assert desk.shown == []
