"""What follows a signal: set aside, begin anew, confirm."""

import numpy as np

from qc.stats import DetectorSignal, detect, stretches_of

QUIET = np.random.default_rng(95).normal(0, 1, 60)


def signals(values):
    return [(s.kind, s.point, s.start, s.side, s.confirmed) for s in detect(values).signals]


def test_two_odd_pieces_apart_are_two_singles():
    values = QUIET.copy()
    values[[30, 45]] = [8.0, -8.0]
    assert signals(values) == [("single", 31, 31, "above", None), ("single", 46, 46, "below", None)]
    assert detect(values).stretches[0].apart == (31, 46)


def test_two_odd_pieces_in_opposite_directions_begin_anew():
    values = QUIET.copy()
    values[[30, 31]] = [8.0, -8.0]
    found = detect(values)
    assert [s.kind for s in found.signals] == ["single", "single"]
    assert found.scores[32:35] == (None, None, None)


def test_a_single_followed_later_by_the_same_level_is_one_shift():
    values = QUIET.copy()
    values[30:] += 4.0
    values[30] += 4.0
    found = signals(values)
    assert len(found) == 1
    kind, point, start, side, confirmed = found[0]
    assert (kind, point, start, side) == ("shift", 31, 31, "above")
    assert 31 < confirmed <= 34


def test_a_return_to_the_old_level_is_a_signal_of_its_own():
    values = QUIET.copy()
    values[20:40] += 6.0
    found = signals(values)
    assert [(kind, side) for kind, _, _, side, _ in found] == [("shift", "above"), ("shift", "below")]
    assert abs(found[0][2] - 21) <= 1 and abs(found[1][2] - 41) <= 1


def test_a_single_early_on_does_not_end_the_stretch():
    values = [0.1, -0.2, 0.05, 0.0, 0.15, 40.0, 0.1, -0.1, 0.0, 0.2]
    found = detect(values)
    assert [(s.kind, s.start) for s in found.signals] == [("single", 6)]
    assert found.stretches[0].n == 9


def make(kind, start, point):
    return DetectorSignal(kind, point, start, (start, start), "above", 1.0, (0.5, 1.5), 1.0, 4.0, 3.8)


def test_stretches_are_cut_at_lasting_changes_only():
    found = stretches_of([1.0, 1.0, 9.0, 1.0, 5.0, 5.0], [make("single", 3, 3), make("shift", 5, 6)])
    assert [(s.first, s.last, s.n, s.mean) for s in found] == [(1, 4, 3, 1.0), (5, 6, 2, 5.0)]
    assert found[0].apart == (3,)
    assert found[0].to_dict()["apart"] == [3]


def test_a_stretch_of_one_piece_has_no_spread():
    assert stretches_of([1.0, 2.0], [make("shift", 2, 2)])[1].sd is None
    assert stretches_of([], []) == ()


def test_signals_survive_plain_values():
    signal = make("trend", 4, 9)
    assert DetectorSignal.from_dict(signal.to_dict()) == signal
