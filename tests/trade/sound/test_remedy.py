import math

import numpy as np
import pytest

from qc import trade
from qc.trade import Instrument, Note, TradeError, Valve

TENOR = Instrument(2944.9, (Valve("F", 986.1),))


def notes(open_cents, f_cents, times=4, **more):
    made = [Note(n, open_cents, **more) for n in (2, 4, 8)] * times
    return made + [Note(n, f_cents, 1, ("F",), **more) for n in (2, 4, 8)] * times


def remedy(*args, sd=2.0, model=TENOR, **options):
    return trade.tuning_remedy(notes(*args, **options), model, reading_sd=sd)


def test_first_cut_is_the_cautious_end():
    wrap = remedy(0.0, -12.0).lengths[1]
    low, high = wrap.interval_mm
    assert (wrap.action, wrap.by) == ("remove", "cut")
    assert wrap.first_cut_mm == pytest.approx(
        trade.length_change_mm(3931.0, -trade.CENTS_PER_NEPER * low / 3931.0)
    )
    assert wrap.change_mm < wrap.first_cut_mm < 0 < low < wrap.error_mm < high
    assert wrap.per_leg_mm == pytest.approx(wrap.change_mm / 2)


def test_change_is_exact_not_linear():
    wrap = remedy(0.0, -45.0, sd=0.5).lengths[1]
    assert wrap.change_mm == pytest.approx(trade.length_change_mm(3931.0, -45.0), abs=1e-6)
    assert abs(wrap.change_mm + wrap.error_mm) > 1.0


def test_an_interval_that_holds_zero_gives_no_cut():
    for length in remedy(0.5, -0.5, sd=5.0).lengths:
        assert (length.action, length.change_mm, length.per_leg_mm, length.first_cut_mm) == ("none", 0, 0, 0)


def test_main_is_mended_on_its_slide_first_and_stands_first_in_the_order():
    result = remedy(-10.0, -16.0, sd=0.5)
    main = result.lengths[0]
    assert (main.action, main.by) == ("remove", "slide")
    assert result.order_of_work[0].startswith("Main length about 17 mm long")
    assert "push the tuning slide in" in result.order_of_work[0]
    assert "F wrap" in result.order_of_work[1]
    assert "both sets" in result.order_of_work[-1]


def test_main_is_cut_only_beyond_its_slide():
    held = remedy(-10.0, -10.0, sd=0.5, main_out_mm=20.0).lengths[0]
    spent = remedy(-10.0, -10.0, sd=0.5, main_out_mm=3.0).lengths[0]
    assert (held.by, spent.by) == ("slide", "cut")
    sharp = Instrument(2944.9, tuning_slide_travel_mm=2.0)
    short = trade.tuning_remedy([Note(2, 10.0, main_out_mm=0.0)] * 9, sharp, reading_sd=0.5)
    assert (short.lengths[0].action, short.lengths[0].by) == ("add", "cut")
    assert any("cadmium" in caution for caution in short.cautions)


def test_wrap_slide_that_stands_out_is_pushed_in_before_a_cut():
    made = [Note(2, 0.0)] * 9 + [Note(2, -12.0, 1, ("F",), wrap_out_mm=20.0)] * 9
    wrap = trade.tuning_remedy(made, TENOR, reading_sd=1.0).lengths[1]
    assert (wrap.action, wrap.by) == ("remove", "slide")
    assert remedy(0.0, 12.0, sd=0.5).lengths[1].by == "slide", "to lengthen, pull first"


def test_legs_share_the_cut():
    four = Instrument(2944.9, (Valve("F", 986.1, legs=4),))
    wrap = remedy(0.0, -12.0, model=four).lengths[1]
    assert wrap.per_leg_mm == pytest.approx(wrap.change_mm / 4)


def test_one_bad_partial_does_not_pass_for_length():
    """The fifth partial 30 cents sharp everywhere: no length is touched, the bench is told where to look."""
    rng = np.random.default_rng(2)
    made = [
        Note(n, rng.normal(0, 2) + trade.harmonic_deviation(n) + 30.0 * (n == 5), k)
        for k in (1, 2, 3, 4)
        for n in (2, 3, 4, 5, 6, 8)
    ]
    result = trade.tuning_remedy(made, TENOR, reading_sd=2.0)
    assert result.fit.length("main").clear, "by the convention the partial shifts the main figure"
    assert result.lengths[0].action == "none"
    order = " ".join(result.order_of_work)
    assert "Partial 5" in order and "not curable by a cut" in order and "leadpipe" in order
    assert "leave the length as it is" in order
    assert sum(p.residual_cents for p in result.fit.partials) == pytest.approx(0, abs=1e-9)


def test_what_is_not_known_is_never_cut():
    made = [Note(n, -12.0, 1, ("F",)) for n in (2, 4, 8)] * 3
    result = trade.tuning_remedy(made, TENOR, reading_sd=1.0)
    assert all(length.action == "none" and length.error_mm is None for length in result.lengths)
    assert "before any cut" in result.order_of_work[0]


def test_marks_are_moved_the_right_way():
    made = [Note(n, 0.0) for n in (2, 4, 8)] * 4
    made += [Note(n, -10.0, 3) for n in (2, 4, 8)] * 4
    result = trade.tuning_remedy(made, TENOR, reading_sd=1.0)
    mark = result.fit.positions[0]
    assert mark.error_mm == pytest.approx(10 * trade.column_mm(TENOR, 3) / trade.CENTS_PER_NEPER / 2)
    assert any("Move the mark of position 3 in by 10 mm" in step for step in result.order_of_work)


def test_warnings_of_one_sitting_and_of_a_planned_spread():
    one = trade.tuning_remedy([Note(2, 0.0)], TENOR)
    assert any("One sitting only" in caution for caution in one.cautions)
    assert any("planning value" in caution for caution in one.cautions)
    days = [Note(n, 0.0, sitting=s) for s in "abc" for n in (2, 4)]
    assert not any("One sitting" in c for c in trade.tuning_remedy(days, TENOR, reading_sd=2.0).cautions)


def test_rms_after_is_what_the_work_leaves():
    result = remedy(-10.0, -16.0, sd=0.5)
    assert result.rms_after_cents < 0.1 < result.fit.rms_before_cents
    quiet = remedy(0.4, 0.4, sd=5.0)
    assert quiet.rms_after_cents == pytest.approx(quiet.fit.rms_before_cents)
    assert quiet.order_of_work == ("Nothing to do: no length is clearly off",)


def test_cautions_always_stand_there():
    assert remedy(0.0, 0.0).cautions[-1] == trade.DEFER


def test_learned_sensitivity_corrects_the_next_cut():
    """A part that answers 20 % less needs a cut 25 % longer, as far as the readings prove it."""
    before = [Note(n, -20.0, 1, ("F",)) for n in (2, 3, 4)] * 6
    moved = -trade.CENTS_PER_NEPER * np.log1p(-20.0 / 3931.0) * 0.8
    after = [Note(n, -20.0 + moved, 1, ("F",)) for n in (2, 3, 4)] * 6
    learned = trade.learn_sensitivity(before, after, TENOR, "valve:F", -20.0, 0.2)
    assert learned.share == pytest.approx(0.8, abs=0.01)
    assert dict(learned.by_partial) == pytest.approx({2: 0.8, 3: 0.8, 4: 0.8})
    vague = trade.learn_sensitivity(before, after, TENOR, "valve:F", -20.0, 20.0)
    assert 0.8 < learned.share < vague.share < 1.0
    assert vague.to_dict()["part"] == "valve:F"
    plain = trade.tuning_remedy(notes(0.0, -12.0), TENOR, reading_sd=1.0).lengths[1]
    taught = trade.tuning_remedy(
        notes(0.0, -12.0), TENOR, reading_sd=1.0, sensitivity={"valve:F": 0.8}
    ).lengths[1]
    assert taught.change_mm == pytest.approx(plain.change_mm / 0.8)


def test_learning_needs_a_change_and_a_common_note():
    with pytest.raises(TradeError, match="nothing was changed"):
        trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 1.0)], TENOR, "main", 0.0, 1.0)
    with pytest.raises(TradeError, match="no note in common"):
        trade.learn_sensitivity([Note(2, 0.0)], [Note(2, 1.0)], TENOR, "valve:F", -5.0, 1.0)


def test_the_note_map_is_flat_once_the_lengths_are_right():
    """Notes by the frequency of a column 12 mm too long, its wrap 20 more: the whole work leaves nothing."""
    home, down = 2944.9, 3931.0
    tenor = Instrument(home, (Valve("F", down - home),))
    flat, flatter = (1731.234 * math.log(one / (one + off)) for one, off in ((home, 12.0), (down, 32.0)))
    blown = [Note(n, trade.harmonic_deviation(n) + flat) for n in (2, 3, 4)] * 4
    blown += [Note(n, trade.harmonic_deviation(n) + flatter, 1, ("F",)) for n in (2, 3, 4)] * 4
    remedy = trade.tuning_remedy(blown, tenor, reading_sd=1.0)
    places = trade.note_map(blown, tenor, remedy.lengths)
    assert [(one.valves, one.partial, one.readings) for one in places] == [
        (state, n, 4) for state in ((), ("F",)) for n in (2, 3, 4)
    ]
    assert [one.cents for one in places] == pytest.approx([flat] * 3 + [flatter] * 3, abs=1e-3)
    assert [one.after_cents for one in places] == pytest.approx([0.0] * 6, abs=1e-3)
    untouched = trade.note_map(blown, tenor)
    assert [one.after_cents for one in untouched] == pytest.approx([one.cents for one in untouched])


def test_notes_that_show_little_say_how_little():
    """One note knows its length to 10 cents or so: 17 mm of a tenor may be hidden behind it."""
    few = trade.tuning_remedy([Note(2, 3.0)], Instrument(2944.9)).order_of_work
    assert few[0].startswith("Nothing to do: no length is clearly off. These notes are too few to see much: ")
    assert "main length may still be off by up to" in few[0]
