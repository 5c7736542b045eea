"""One series for the board: what its answer rests on, what would settle it, what a lead decided."""

import pytest

from qc.jobs.baseline import decide
from qc.jobs.board.data import StoreBoardData
from qc.jobs.board.views import SeriesKey
from qc.jobs.workshop import open_workshop
from qc.sayings import Saying, What
from qc.stats import NORMAL, Limits, Noise, learned_capability
from qc.watch import STILL_MOVING, is_few
from qc.watch.series.steps import step_of

CLEARANCE = SeriesKey("slide", "clearance", "all")


@pytest.fixture(scope="module")
def board(demo_folder):
    return StoreBoardData(demo_folder)


def test_what_would_settle_an_open_answer_is_the_statistics_own_figure(board, demo_folder):
    plan = open_workshop(demo_folder).plan
    climbing = [v for v in board.verdicts() if v.ppk_reason == STILL_MOVING]
    assert [str(v.key) for v in climbing] == ["draw/tube_od/tenor"]
    assert climbing[0].pieces_to_settle is None, "pieces to come will not be like these"
    open_ones = [v for v in board.verdicts() if v.capable == "unproven" and v not in climbing]
    assert open_ones
    for verdict in open_ones:
        stage = plan.stage(verdict.key.stage)
        figure = next(c for c in stage.characteristics if c.id == verdict.key.characteristic)
        scatter = verdict.scatter
        lots = [p.lot or None for p in verdict.present_points] if scatter and scatter.lots_by else None
        found = learned_capability(
            [p.value for p in verdict.present_points],
            Limits(verdict.lower, verdict.upper),
            Noise.from_dict(scatter.noise) if scatter else NORMAL,
            lots=lots,
            shape=figure.shape,
            resolution=step_of(verdict.points, plan, stage, figure),
        )
        assert (found.ppk, found.pieces_to_settle) == (verdict.ppk, verdict.pieces_to_settle)
    proven = next(v for v in board.verdicts() if v.capable == "proven")
    assert proven.pieces_to_settle is None


def test_few_is_said_only_where_the_index_is_withheld_for_it(board):
    for verdict in board.verdicts():
        assert is_few(verdict) == ("too few" in verdict.ppk_reason and verdict.capable == "unproven")


def test_gauges_used_together_are_named_one_by_one(board):
    assert set(board.series(CLEARANCE).gauges) == {"BG-1", "MIC-2"}


def test_decisions_are_shown_with_who_and_why_and_go_when_undone(demo_copy):
    workshop = open_workshop(demo_copy)
    board = StoreBoardData(demo_copy)
    points = next(v for v in board.verdicts() if v.key == CLEARANCE).points
    serials = [p.serial for p in points]
    key, said = str(CLEARANCE), ("IS", "bench moved")
    decide(workshop, key, Saying(What.LEAVE_OUT, *said, first=serials[-20], last=serials[-19]))
    decide(workshop, key, Saying(What.FREEZE, *said, first=serials[20], last=serials[60]))
    view = board.series(CLEARANCE)
    assert [(d.what, d.first, d.last, d.who, d.why) for d in view.decisions] == [
        ("freeze", serials[20], serials[60], "IS", "bench moved"),
        ("leave-out", serials[-20], serials[-19], "IS", "bench moved"),
    ]
    assert not any("frozen" in note for note in view.notes)  # told once, with the decision
    assert serials[-20] not in {p.serial for p in view.verdict.present_points}
    decide(workshop, key, Saying(What.UNDO_FREEZE, *said))
    assert [d.what for d in board.series(CLEARANCE).decisions] == ["leave-out"]
    workshop.store.close()
