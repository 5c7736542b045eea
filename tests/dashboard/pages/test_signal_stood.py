"""The chart on the page of a closed signal shows the series as it stood when it was closed."""

from dataclasses import replace

from dashboard.figures import draw_series
from dashboard.pages import signals
from dashboard.shown import as_it_stood


def closed(board, later=3):
    """Return a signal that was closed `later` pieces ago, and its series of today, where it is over."""
    view = board.signal("s0")
    series = board.series(view.verdict.key)
    last = len(series.verdict.points) - later
    told = replace(view.signal, pieces=last - view.signal.start + 1, kept=None, sentence="As it was told.")
    now = replace(series, verdict=replace(series.verdict, behaviour="steady", told_by=None))
    return replace(view, closed_as=told, state="closed"), now, last


def test_a_closed_signal_shows_its_own_stretch(in_app, board, texts):
    view, now, last = closed(board)
    shown = as_it_stood(view, now)
    assert [p.serial for p in shown.verdict.points] == [p.serial for p in now.verdict.points[:last]]
    assert shown.verdict.telling.start_serial == view.signal.start_serial  # which today tells no more
    assert now.verdict.telling is None
    drawn = draw_series(shown)["data"][0]["x"]
    assert max(drawn) == now.verdict.points[last - 1].ordinal
    said = texts(signals._drawn(view, now, ""))
    serial = now.verdict.points[last - 1].serial
    assert f"As it stood when signal {view.name} was closed, up to {serial}" in said
    assert "the series shows 3 pieces made since" in said and "Now: " in said


def test_a_card_that_came_in_later_moves_its_place_and_not_its_piece(board):
    view, now, last = closed(board)
    moved = replace(view.closed_as, start=view.closed_as.start - 2, raised=view.closed_as.raised - 2)
    moved = replace(moved, start_low=moved.start_low - 2, start_high=moved.start_high - 2)
    shown = as_it_stood(replace(view, closed_as=moved), now)
    assert len(shown.verdict.points) == last
    assert shown.verdict.telling.start == view.closed_as.start


def test_an_open_signal_and_one_that_nothing_followed_show_the_series_of_today(board):
    view, now, _ = closed(board)
    assert as_it_stood(replace(view, closed_as=None), now) is now
    view, now, _ = closed(board, later=0)
    assert as_it_stood(view, now) is now
