"""The sheet of the day: what stands on it, and that its lists are cut. Its one side: `tests/browser`."""

import re
from dataclasses import replace

import pytest

from dashboard.wall import day_sheet

HOME = {"Host": "127.0.0.1:8050"}


def plain(text):
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_the_day_is_told_on_one_sheet(client, board):
    page = client.get("/day", headers=HOME)
    said = plain(page.text)
    for part in (
        "Tuesday 24 November 2026",
        "Tern Quay Brassworks",
        "Slide card 3 pieces 72 readings, 2 held KM and RA",
        "Not in: Valve card, Polishing card.",
        "Slide clearance has moved.",
        "RA released TQ-0302 : measured again, 10.3",
        "Shipped: TQ-0391",
        "Open reactions: nobody yet 2, RA 1; 1 overdue",
        "G-03 , due 24 Nov",
        "Notes, and for whom",
    ):
        assert part in said, part
    for verdict in board.today().findings:
        assert verdict.current.next_step[1:20] in said
    assert page.text.count('class="spark"') == len(board.today().findings)


def test_a_past_day_is_named(client):
    assert "as it was known on 30 Jun 2026" in plain(client.get("/day?known=2026-06-30", headers=HOME).text)


def test_long_lists_are_cut_and_counted(in_app, board):
    own = board.day()
    many = tuple(f"line {n}" for n in range(20))
    assert day_sheet._lines(many, 6, "").count("<li>") == 6 and "and 14 more" in day_sheet._lines(many, 6, "")
    assert "and 12 more" in day_sheet._serials(replace(own, shipped=many))
    assert "and 11 more" in day_sheet._came(replace(own, benches=own.benches * 10))
    moved = day_sheet._moved(replace(board.today(), findings=board.today().findings[:1] * 7))
    assert "and 3 more" in moved


@pytest.mark.parametrize("series, said", [(3, "Nothing has moved."), (0, "No sheet has come in yet.")])
def test_a_quiet_day(in_app, board, series, said):
    assert said in day_sheet._moved(replace(board.today(), findings=(), series=series))


def test_nothing_typed_becomes_markup(in_app, board):
    own = replace(board.day(), done=("KM released <img src=x>: &",))
    assert "<img" not in day_sheet._lines(own.done, 3, "")
