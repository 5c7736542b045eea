"""What hangs on the wall: the first screen in fewer words, complete without its script."""

import re
from dataclasses import replace

import pytest

from dashboard.wall import hanging

HOME = {"Host": "127.0.0.1:8050"}


@pytest.fixture
def ask(client):
    return lambda path: client.get(path, headers=HOME)


def plain(text):
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_the_wall_says_every_stage_what_moved_and_what_waits(ask, board):
    page = ask("/wall")
    said = plain(page.text)
    view = board.today()
    for stage in view.stages:
        assert f"{stage.name} {stage.behaviour}" in said
    for verdict in view.findings:
        assert verdict.current.sentence.split(" since ")[0] in said
    assert "Next: check M-7 against the master" in said
    for row in (
        "Cards missing 2",
        "Open reactions 1 overdue",
        "nobody yet 2, RA 1",
        "Pieces to hold 9",
        "Held rows 4",
    ):
        assert row in said, row
    assert page.mimetype == "text/html" and "no-store" in page.headers["Cache-Control"]


def test_what_it_asks_for_is_the_same_without_the_frame(ask):
    page, now = ask("/wall").text, ask("/wall/now").text
    assert now in page and "<html" not in now and "<script" not in now


def test_a_quiet_workshop_hangs_quietly(in_app, board):
    view = replace(type(board)(quiet=True).today(), gauges_due=(), cards_missing=(), held_rows=0)
    assert plain(hanging._moved(view)) == "Nothing has moved."
    assert plain(hanging._waits(view)) == "Nothing waits."
    assert "No sheet" in hanging._moved(replace(view, series=0))


def test_more_than_fits_is_counted(in_app, board):
    view = board.today()
    many = hanging._moved(replace(view, findings=view.findings[:1] * 9))
    assert many.count("<li>") == hanging.SHOWN and f'data-more="{9 - hanging.SHOWN}"' in many


def test_no_name_becomes_markup_and_a_serial_does_not_break(in_app, board):
    stage = replace(board.today().stages[0], name="<b>Draw")
    assert "<b>" not in hanging._route([stage]) and "&lt;b&gt;Draw" in hanging._route([stage])
    assert hanging.set_whole("QH-1 & <i> since 9 Oct") == (
        '<span class="whole">QH-1</span> &amp; &lt;i&gt; since <span class="whole">9 Oct</span>'
    )


def test_a_wall_never_stands_on_a_past_day_and_has_judged_what_waits(client, board, desk):
    client.get("/wall", headers=HOME)  # the framework lays its frame out with the first request
    board.waits = "Not judged since noon."
    said = client.get("/wall?known=2026-01-05", headers=HOME)
    assert said.status_code == 200 and board.asked == [] and desk.asked_to_judge
