"""The pieces to hold on the first screen, on their own page, and the form that releases one."""

import json
from dataclasses import replace

import pytest

from dashboard.pages import hold


@pytest.fixture
def view(board):
    return board.hold()


def test_the_first_screen_names_the_worst_in_the_house_and_folds_what_left(in_app, view, texts):
    said = texts(hold.hold_card(view))
    assert "Pieces to hold: 9 in the house" in said
    shown = [f"TQ-04{n}" for n in range(10, 10 + hold.SHOWN_PIECES)]
    assert all(serial in said for serial in shown) and "TQ-0418" not in said
    assert "8.5 µm at flare, spot 2, under 10 µm. And 1 more reason." in said
    assert "3 more, with what to do" in said
    assert "1 piece left before anybody released it" in said


def test_a_house_without_any_says_so_quietly(in_app, board, texts):
    said = texts(hold.hold_card(type(board)(quiet=True).hold()))
    assert "No piece in the house is to be held." in said


def test_the_page_has_every_piece_with_what_to_do(in_app, texts):
    said = texts(hold.list_layout())
    assert "In the house: 9" in said and all(f"TQ-04{n}" in said for n in range(10, 19))
    assert said.count("Next: Measure it again.") == 9
    assert "inside, not proven" in said and "TQ-0420" in said
    assert "Released by RA on 24 Nov 2026: measured again, 10.3" in said


def test_what_an_answer_let_go_is_not_said_to_be_released_by_name(in_app, board, view, texts, monkeypatch):
    """The page counts pieces in the words of the command, two rows of one piece once."""
    released = view.released[0]
    rows = (
        released,
        replace(released, name="Bell: Wall"),
        replace(released, serial="TQ-0440", by_answer=True),
    )
    monkeypatch.setattr(type(board), "hold", lambda self: replace(view, rows=rows, near=()))
    line = "2 pieces released by name and reason, or let go by an answer"
    assert line in texts(hold.list_layout())
    assert f"{line}: " in replace(view, rows=rows, near=()).to_text()


def test_pieces_held_for_the_same_reasons_are_told_once(in_app, board, view, texts, monkeypatch):
    """Two pieces under one signal share its sentence; another reason parts a third from them."""
    first = view.waiting[0]
    alike = [replace(first, serial=serial) for serial in ("TQ-0431", "TQ-0432")]
    apart = replace(first, serial="TQ-0433", because="the gauge was not checked")
    monkeypatch.setattr(type(board), "hold", lambda self: replace(view, rows=(*alike, apart), near=()))
    said = texts(hold.list_layout())
    assert "In the house: 3" in said and said.count("2 pieces") == 1
    assert said.count(hold.why_words(first).rstrip(".")) == 1
    assert all(f"TQ-043{n}" in said for n in (1, 2, 3))


def test_nobody_is_chosen_beforehand(in_app):
    form = json.dumps(hold.one_layout("TQ-0410"), default=lambda part: part.to_plotly_json())
    assert '"choose a name"' in form and "Release it" in form and '"TQ-0410"' in form


def test_a_piece_that_nothing_holds_can_only_be_kept_back(in_app, texts):
    said = texts(hold.one_layout("TQ-0001"))
    assert "Nothing holds this piece." in said and "Keep it back" in said
    assert "Release it" not in said.replace("Release it, or keep it back", "")


def test_tags_are_printed_from_the_list_and_from_one_piece(app, board, texts):
    client, home = app.server.test_client(), {"base_url": "http://127.0.0.1:8050"}
    every = client.get("/hold/tags.pdf", **home)
    assert every.status_code == 200 and every.mimetype == "application/pdf" and every.data.startswith(b"%PDF")
    serial = board.hold().waiting[0].serial
    assert client.get("/hold/tags.pdf", query_string={"serial": serial}, **home).status_code == 200
    none = client.get("/hold/tags.pdf?serial=NOBODY", **home)
    assert none.status_code == 404 and "no tag to print" in none.text
    with app.server.test_request_context("/", **home):
        assert "Print the tags" in texts(hold.list_layout())
        assert "Print its tag" in texts(hold.one_layout(serial))
        assert "Print its tag" not in texts(hold.one_layout("NOBODY"))


def test_a_step_of_the_list_is_a_link_on_the_board_and_no_command():
    mended = (
        "Next: It has left: decide who is told, then tick it off: qc signals tick 7 --piece A-31 --who CODE"
    )
    typed = "Next: Answer held rows 5 and 6: qc held list says what is asked. Measure the piece again."
    for step, href, said in (
        (mended, "/signals/7", "tick it off at signal 7"),
        (typed, "/sheets", "the page of sheets says what is asked"),
    ):
        parts = hold._linked(step)
        (link,) = [one for one in parts if getattr(one, "href", "")]
        assert (link.href, link.children) == (href, said)
        assert "qc " not in "".join(str(getattr(one, "children", one)) for one in parts)
    assert [str(one) for one in hold._linked("Next: Measure it again.")] == ["Next: Measure it again."]
