"""The board's remedies on the sample workshop: the command's own sentences, and one day for each die."""

from datetime import date

import pytest

from qc.jobs.board import LACQUER, NOTES, StoreBoardData, TuneAsked
from qc.jobs.remedies import coat_from, tune_from, wear_from
from qc.watch import SeriesKey

NOTHING = dict.fromkeys(
    ("model", "plan", "length_mm", "reference_air_c", "a4_hz", "wav", "reading_sd", "sitting_sd")
)


@pytest.fixture(scope="module")
def board(demo_folder):
    return StoreBoardData(demo_folder)


def test_page_and_command_say_the_same(board, demo_folder):
    answers = board.remedies()
    serial = answers.pieces(NOTES)[0]
    asked = tune_from(None, serial=serial, workshop=demo_folder, valves=(), **NOTHING)
    assert answers.tuning(serial).result.to_text() == asked.to_text()
    piece = answers.pieces(LACQUER)[0]
    coated = coat_from(
        None, serial=piece, workshop=demo_folder, nominal_um=None, lower_um=None, upper_um=None
    )
    assert answers.lacquer(piece).result.to_text() == coated.to_text()
    ((name, _, found),) = answers.dies().results
    worn = wear_from(
        None, workshop=demo_folder, value=None, against=None, tool=None, lower=None, upper=None,
        per_week=None, as_of=None,
    )  # fmt: skip
    assert (name, found.to_text()) == ("Tube OD", worn.to_text())


def test_a_die_has_one_day_on_every_page(board):
    told = {v.forecast.tool: v.forecast for v in board.verdicts() if v.forecast is not None}
    ((_, _, found),) = board.remedies().dies().results
    dated = [tool for tool in found.tools if tool.change_by_date is not None]
    assert dated
    for tool in dated:
        assert tool.change_by_date == told[tool.tool].change_by_day
        # of a day that has passed with draws left the weeks are those of the draws
        if tool.change_by_date >= board.shop().day:
            assert tool.weeks == (tool.change_by_date - board.shop().day).days / 7
        else:
            assert tool.weeks > 0 and "That day has passed with" in tool.warnings[-1]
    assert all(tool.change_by_date is None for tool in found.tools if tool.weeks and tool.weeks > 17)


def test_series_and_pieces_lead_to_their_remedies(board):
    answers = board.remedies()
    ways = {
        ("tuning", "wrap_f", "all"): "tuning",
        ("lacquer", "thickness", "all"): "lacquer",
        ("draw", "tube_od", "tenor"): "dies",
        ("slide", "clearance", "all"): "rack",
        ("polish", "mass_loss", "tenor"): "",
        ("gone", "gone", "all"): "",
    }
    assert {key: answers.for_series(SeriesKey(*key)) for key in ways} == ways
    assert answers.for_piece(answers.pieces(NOTES)[-1])[0] == "tuning"
    assert answers.for_piece("NOPE") == ()


def test_what_cannot_be_answered_is_said_without_a_commands_options(board, demo_folder):
    answers = board.remedies()
    (rack,) = StoreBoardData(demo_folder, date(2026, 11, 10)).remedies().rack()  # before its card came
    assert "Upload cards of loose tubes under their own serials." in rack.problem and "--" not in rack.problem
    assert "the store holds no readings" in answers.tuning("NOPE").problem
    serial = answers.pieces(NOTES)[0]
    strange = answers.tuning(serial, TuneAsked(reference="NOPE"))
    assert strange.result is None and strange.sittings and "NOPE" in strange.problem
    half = answers.tuning(serial, TuneAsked(since="2026-01-01", mm="x"))
    assert "by how many millimetres" in half.problem
    valve = answers.tuning(serial, TuneAsked(since="2026-01-01", part="Q", mm="-3"))
    assert "--" not in valve.problem
    early = answers.tuning(serial, TuneAsked(since="2026-01-01", part="main", mm="-3"))
    assert "choose another sitting" in early.problem
