"""Every refusal of the trade, each at its own line: what is wrong, and what to do about it."""

import ast
import math
from pathlib import Path

import numpy as np
import pytest

import qc.trade
from qc import trade
from qc.trade import Instrument, Note, Spot, TradeError, Tube, Valve

HOME = Path(qc.trade.__file__).parent
TENOR = Instrument(2944.9, (Valve("F", 986.1), Valve("D", 744.0, "F")))
RING = (Valve("F", 986.1, "D"), Valve("D", 744.0, "F"))
TUBE, BORE = Tube("i", {"": {"a": [13.9]}}), Tube("o", {"": {"a": [14.05]}})
STEPS = [Note(n, 25.0 + trade.harmonic_deviation(n), k) for n in (2, 3) for k in (1, 2)]
SECOND = np.ones(16000)


def notes(*cells, **more):
    return lambda: trade.check_notes([Note(2, 0.0), Note(*cells, **more)], TENOR)


def pair(inner=TUBE, outer=BORE, lower=100, upper=200, cost="mean-squares"):
    return lambda: trade.pair_tubes([inner] if inner else [], [outer], 150, lower, upper, cost)


def locked(*pairs, inner=TUBE):
    return lambda: trade.pair_tubes([inner], [BORE], 150, 100, 200, locked=pairs)


REFUSALS = [
    locked(("j", "o")),
    locked(("i", "o"), ("i", "o")),
    locked(("t", "o"), inner=Tube("t", {"": {"a": [14.2]}})),
    lambda: trade.tempered_frequency(69, -440.0),
    lambda: trade.cents_between(0.0, 440.0),
    lambda: trade.tempered_frequency(69, math.inf),
    lambda: trade.tempered_frequency(1e9),
    lambda: trade.cents_between(1.0, math.inf),
    lambda: trade.nearest_note(math.inf),
    lambda: trade.nearest_note(1e308, 1e-308),
    lambda: trade.chance_of_faults(1, 3, 1.5),
    lambda: trade.chance_of_faults(-1, 3, 0.1),
    lambda: trade.chance_of_faults(1, 10**9, 0.1),
    lambda: trade.chance_of_short_gap(-1, 0.1),
    lambda: trade.chance_of_short_gap(1, math.nan),
    lambda: trade.fit_note_set([Note(2, 0.0)], TENOR, reading_sd=0.0),
    lambda: trade.fit_note_set([Note(2, 0.0)], TENOR, reading_sd=math.inf),
    lambda: trade.fit_note_set([Note(2, 0.0)], TENOR, sitting_sd=-1.0),
    lambda: trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 1.0)], TENOR, "main", math.inf, 1.0),
    lambda: trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 1.0)], TENOR, "main", -3.0, 0.0),
    lambda: trade.column_mm(TENOR, 12_289),
    lambda: trade.harmonic_semitones(0),
    lambda: trade.speed_of_sound_dry(-273.15),
    lambda: trade.speed_of_sound_moist(31.0, 0.5),
    lambda: Instrument(2.9449),
    lambda: Instrument(2944.9, (Valve("F", 986.0), Valve("f", 700.0))),
    lambda: Instrument(2944.9, (Valve("F", -1.0),)),
    lambda: Instrument(2944.9, (Valve("D", 744.0, "F"),)),
    lambda: Instrument(2944.9, RING),
    lambda: TENOR.valve("G"),
    lambda: trade.valve_state(TENOR, "D"),
    lambda: trade.effective_length_mm(0.0),
    lambda: trade.local_length_mm(5.0, 3.0),
    lambda: trade.column_mm(TENOR, 8),
    lambda: trade.check_notes([], TENOR),
    notes(17, 0.0),
    notes(4, 0.0, method="guessed"),
    notes(4, math.nan),
    notes(4, 90.0),
    lambda: trade.check_notes([*STEPS, Note(4, -70.0, 4)], TENOR),
    lambda: trade.fit_note_set([Note(2, 0.0, 3, method="by-ear")], TENOR),
    lambda: trade.tester_offsets([Note(2, 0.0)], TENOR),
    lambda: trade.tester_offsets([Note(2, 0.0, tester="AB")], TENOR),
    lambda: trade.tester_offsets([Note(2, 0.0, tester="AB"), Note(3, 0.0, tester="CD")], TENOR),
    lambda: trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 1.0)], TENOR, "main", 0.0, 1.0),
    lambda: trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 1.0)], TENOR, "main", -3000.0, 1.0),
    lambda: trade.learn_sensitivity([Note(2, 0.0)], [Note(3, 1.0)], TENOR, "main", -3.0, 1.0),
    lambda: trade.held_notes(SECOND, 4000),
    lambda: trade.held_notes(SECOND[:99], 16000),
    lambda: trade.held_notes(np.nan * SECOND, 16000),
    lambda: trade.held_notes(SECOND, 16000),
    lambda: trade.held_notes(np.r_[SECOND, SECOND[:40] + 1, SECOND], 16000),
    lambda: trade.clearance_um(14.05, math.inf),
    lambda: trade.limit_fit((0.0, 18.0), (-6.0, -17.0)),
    lambda: trade.leg_clearance({}, {}),
    lambda: trade.ovality_um([14.05]),
    lambda: trade.taper_um([14.05]),
    pair(inner=None),
    pair(lower=160),
    pair(cost="cheapest"),
    pair(outer=Tube("o", {"": {"a": [14052.0]}})),
    pair(inner=Tube("i", {})),
    pair(outer=Tube("o", {"upper": {"a": [14.05]}})),
    lambda: trade.section_mm2(14.0, 14.0),
    lambda: trade.eccentricity([0.4]),
    lambda: trade.volume_balance((15.4, 14.25, 0.0), (14.9, 14.05, 1.0)),
    lambda: trade.draw_force_kn(400.0, 20.0, 26.0),
    lambda: trade.spring_back([14.6], [14.5]),
    lambda: trade.fit_wear([0, 1, 2], [1, 2, 3], lower=5, upper=4),
    lambda: trade.fit_wear([0, 1, 2], [1, 2]),
    lambda: trade.fit_wear([0, 1, 2], [1, math.nan, 2]),
    lambda: trade.fit_wear([0, -1, 2], [1, 2, 3]),
    lambda: trade.fit_wear([0, 5, 2], [1, 2, 3]),
    lambda: trade.fit_wear([0, 5], [1, 2]),
    lambda: trade.spot_means([Spot("bell", "1", 2000.0)]),
    lambda: trade.house_80_20([], 15.0),
    lambda: trade.lower_capability([15.0, 15.0], 12.0),
    lambda: trade.lower_capability_interval(1.0, 1),
    lambda: trade.base_drift_um([]),
    lambda: trade.dry_from_wet_um(60.0, 28.0),
    lambda: trade.defects_per_unit([1], []),
    lambda: trade.leak_rate(0.0, 5.0, 30.0),
    lambda: trade.decay_time_s(20.0, 30.0, 45.0),
    lambda: trade.polish_loss(100.0, 99.0, 0.0, 0.3),
    lambda: trade.polish_loss(100.0, 101.0, 0.1, 0.3),
    lambda: trade.polish_loss(100.0, 99.0, 0.1, 0.3, 0.3),
    lambda: trade.wall_loss_share(0.0, 0.01),
    lambda: trade.cautions_for("moon"),
]


def refused(call):
    """The error of a call, and every line of the trade it was raised at (a place may be added on the way)."""
    with pytest.raises(TradeError) as caught:
        call()
    lines, error = set(), caught.value
    while isinstance(error, TradeError):
        trace = error.__traceback__
        while trace.tb_next is not None:
            trace = trace.tb_next
        lines.add((Path(trace.tb_frame.f_code.co_filename), trace.tb_lineno))
        error = error.__context__
    return caught.value, lines


def raise_sites():
    """Every place in the trade that refuses: file, first and last line."""
    for path in sorted(HOME.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Raise) and "TradeError" in ast.unparse(node):
                yield path, node.lineno, node.end_lineno


def test_every_line_that_refuses_is_reached():
    hit = set()
    for call in REFUSALS:
        hit |= refused(call)[1]
    missed = [
        f"{path.relative_to(HOME)}:{first}"
        for path, first, last in raise_sites()
        if not any(where == path and first <= line <= last for where, line in hit)
    ]
    assert missed == []
    assert len(list(raise_sites())) > 60, "the search itself finds them"


@pytest.mark.parametrize("number", range(len(REFUSALS)))
def test_a_refusal_says_what_is_wrong_and_what_to_do(number):
    error, _ = refused(REFUSALS[number])
    assert str(error) == f"{error.problem}. {error.hint}"
    assert error.problem and not error.problem.endswith((".", " ")), "the full stop is set by the error"
    assert not error.problem[0].isupper() or error.problem.startswith("A4"), (
        "it follows a place, as in a list"
    )
    assert not error.hint[0].islower() and not error.hint.endswith("."), "a sentence that tells what to do"
    assert len(error.hint.split()) >= 2
    assert "\n" not in str(error) and "None" not in str(error) and "TradeError" not in str(error)
    assert (error.index is None) or isinstance(error.index, int)
    assert "safe" not in str(error).lower().split()
