"""Instruments, signals, month, stages: what each page says."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from dashboard.pages import instruments, month, signals, stages
from qc.jobs.board.views import ReportView


def test_an_instrument_says_where_it_is_outside(in_app, texts):
    said = texts(instruments.one_layout("TQ-0442"))
    assert "outside" in said and "−12 to +12 mm" in said
    for part in (
        "T-1181",
        "play-test: pass, by RA",
        "upper leg, mouth, 0°",
        "13,852",
        "slide_0442.xlsx, line 9",
    ):
        assert part in said


def test_an_instrument_without_parts_and_events_says_so(in_app, board, monkeypatch, texts):
    bare = replace(board.instrument("TQ-0442"), parts=(), events=(), charted=(), part_of=(("bell", "TQ-1"),))
    monkeypatch.setattr(board, "instrument", lambda serial: bare)
    said = texts(instruments.one_layout("TQ-0442"))
    assert "bell of" in said and "No event is recorded." in said and "None of its readings" in said
    monkeypatch.setattr(board, "instrument", lambda serial: replace(bare, part_of=()))
    assert "No part is recorded." in texts(instruments.one_layout("TQ-0442"))


def test_an_empty_list_says_why(in_app, board, monkeypatch, texts):
    monkeypatch.setattr(board, "instruments", lambda wanted="", limit=60: ())
    assert "No instrument has been measured yet." in texts(instruments.list_layout())


def test_signals_that_wait_stand_apart_from_earlier_ones(in_app, board, monkeypatch, texts):
    first, second, third = board.signals()
    over = replace(third, state="over")
    monkeypatch.setattr(board, "signals", lambda: (first, second, over))
    said = texts(signals.list_layout())
    assert said.index(second.signal.sentence) < said.index("Earlier") < said.index(over.signal.sentence)
    assert "over by itself" in said


def test_a_signal_names_the_day_it_was_told_and_that_of_the_piece_apart(in_app, board, monkeypatch, texts):
    first = board.signals()[0]
    piece = f"{first.signal.raised_day:%-d %b}"
    told = first.signal.raised_day + timedelta(9)
    monkeypatch.setattr(board, "signals", lambda: (replace(first, known=told),))
    said = texts(signals.list_layout())
    assert f"First told on {told:%-d %b %Y}, at {first.signal.raised_serial}, measured on {piece}." in said
    monkeypatch.setattr(board, "signals", lambda: (replace(first, known=first.signal.raised_day),))
    assert "measured on" not in texts(signals.list_layout())


def test_a_signal_that_opened_anew_was_first_told_at_its_first_piece(in_app, board, monkeypatch, texts):
    """It was said to be first told ten days before the piece was measured by which it opened anew."""
    first = board.signals()[0]
    root = first.verdict.points[0]
    found = replace(first.signal, reopens=root.serial)
    seen = replace(first, signal=found, known=root.day, had="RA", owner="", state="open", closed_as=None)
    monkeypatch.setattr(board, "signals", lambda: (seen,))
    said = texts(signals.list_layout())
    assert f"First told on {root.day:%-d %b %Y}, at {root.serial}." in said
    assert "Nobody has taken it in hand since it was opened anew, RA before;" in said


def test_no_signals_is_a_quiet_page(in_app, board, monkeypatch, texts):
    monkeypatch.setattr(board, "signals", lambda: ())
    assert "No signal is open." in texts(signals.list_layout())


def test_a_signal_says_size_start_price_and_life(in_app, texts):
    said = texts(signals.one_layout("s0"))
    for part in (
        "a new level",
        "+21 mm (+18 to +24, 95 %)",
        "once in 1 000 pieces",
        "does not prove a cause",
        "Looked at: person, gauge and filler did not change.",
        "M-7 is on the surface plate.",
    ):
        assert part in said


def test_a_signal_without_suspects_or_size_says_so(in_app, board, monkeypatch, texts):
    first = board.signals()[0]
    bare = replace(
        first.signal, suspects=(), unchanged=(), size=None, size_sigma=None, sentence="", because=""
    )
    monkeypatch.setattr(board, "signal", lambda _: replace(first, signal=bare, comments=()))
    said = texts(signals.one_layout("s0"))
    assert "Nothing recorded explains it." in said and "Nobody has said anything" in said
    assert "F wrap length, tenor-bass: a new level since" in said


def test_reports_open_by_month(in_app, board, monkeypatch, texts):
    files = tuple(Path(f"/x/month.{kind}") for kind in ("pdf", "html", "xlsx", "txt"))
    monkeypatch.setattr(board, "reports", lambda: (ReportView("2026-10", files), ReportView("2026-09", ())))
    said = texts(month.layout())
    reports = said.partition("Reports")[2]
    assert "October 2026" in reports and "Open the pdf" in reports and "September" not in reports
    assert "closed" not in reports


def test_a_closed_month_says_so_beside_its_files(in_app, board, monkeypatch, texts):
    report = ReportView("2026-10", (Path("/x/month.pdf"), Path("/x/month.json")), closed=True)
    monkeypatch.setattr(board, "reports", lambda: (report,))
    reports = texts(month.layout()).partition("Reports")[2]
    assert "October 2026" in reports and "closed" in reports and "json" not in reports


def test_the_month_so_far_stands_with_its_figures_and_the_way_to_write_it(in_app, texts):
    said = texts(month.layout())
    for part in ("November 2026 so far", "81 % (52 to 97 %), 95 % interval", "4 (October 9)", "9 of 10"):
        assert part in said
    assert "Preview the whole of it" in said and "Write it" in said and "Order a die." in said
    assert "No report is written yet." in said


def test_stages_stand_in_route_order(in_app, board, texts):
    said = texts(stages.layout())
    places = [said.index(stage.name) for stage in board.stages()]
    assert places == sorted(places)
    assert "Still learning: 2 pieces so far" in said


def test_a_stage_without_readings_says_so(in_app, board, monkeypatch, texts):
    known = board.stages()
    monkeypatch.setattr(board, "stages", lambda: known)
    monkeypatch.setattr(board, "verdicts", lambda stage=None: ())
    assert "Nothing has been measured at this stage yet." in texts(stages.layout())


def test_a_part_measured_very_often_is_cut_and_says_so(in_app, board, monkeypatch, texts):
    often = board.instrument("TQ-0442")
    often = replace(often, readings=often.readings * 500)
    monkeypatch.setattr(board, "instrument", lambda serial: often)
    said = texts(instruments.one_layout("TQ-0442"))
    assert "500 readings" in said and "the newest 200 of 500" in said
    assert said.count("slide_0442.xlsx, line 9") == 200
