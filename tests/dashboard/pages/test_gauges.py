from dataclasses import replace

import pytest

from dashboard.pages import gauges
from dashboard.pages.gauge_study import answer_card
from qc.watch import GaugeChange


@pytest.fixture
def gauge(board):
    return board.gauges()[0]


def test_the_list_says_of_each_gauge_how_it_stands_and_whether_its_step_is_fine(in_app, texts):
    said = texts(gauges.list_layout())
    assert "Three gauges, two need a look" in said
    assert "Its last check on 23 Nov was off: +7.0 µm, outside ±4.0 µm." in said
    assert "Step fine enough: the scatter from piece to piece spans 4.1 of its steps." in said
    assert "Step too coarse: the scatter from piece to piece spans 0.6 of its steps." in said
    assert "Too little read to judge its step." in said and "A gauge study from a file" in said


def test_a_plan_without_gauges_says_so(in_app, board, monkeypatch, texts):
    monkeypatch.setattr(board, "gauges", lambda: ())
    assert "The plan names no gauge yet." in texts(gauges.list_layout())


def test_one_gauge_tells_its_checks_its_bias_and_whom_it_touched(in_app, texts):
    said = texts(gauges.one_layout("G-03"))
    assert said.index("was off") < said.index("In figures")
    assert "Since its last good check it reads +0.0070 mm off its master, from 1 check" in said
    assert "What it touched since its last good check" in said and "TQ-0440" in said
    assert "left 3 Nov 2026" in said
    assert "±0.004 mm" in said and "What to do" in said and "measure again the pieces below" in said


def test_a_gauge_that_moved_inside_its_tolerance_is_told_with_what_to_do(
    in_app, board, gauge, monkeypatch, texts
):
    since = gauge.checks[-2].day
    change = GaugeChange("shift", since, gauge.checks[-1].day, 0.0001, 0.0022, True)
    over = replace(change, kind="single", stands=False)
    view = replace(
        gauge, state="moved", moved="Its checks read high.", changes=(over, change), steps=("Look.",)
    )
    monkeypatch.setattr(board, "gauges", lambda: (view,))
    listed = texts(gauges.list_layout())
    assert "One gauge, one needs a look" in listed and "Its checks read high." in listed
    said = texts(gauges.one_layout("G-03"))
    assert "Its checks read high." in said and "What to do Look." in " ".join(said.split())
    assert said.index("level moved") < said.index("one check apart")
    assert "one in 2,000 checks" in said and "+0.0022 mm" in said
    quiet = texts(gauges._course_card(replace(gauge, changes=())))
    assert "They are as they were." in quiet


def test_a_gauge_in_order_asks_for_nothing(in_app, texts):
    said = texts(gauges.one_layout("B-09"))
    assert "What to do" not in said and "What it touched" not in said
    assert "too coarse: pieces scatter by 0.3 N, only 0.6 steps of it" in said and "finer gauge" in said


def test_a_calibration_that_ran_out_is_no_missed_check(in_app, texts):
    said = texts(gauges.one_layout("R-01"))
    assert "Have it calibrated" in said and "measure again" not in said
    assert "Too little was read" in said


def test_bias_is_said_with_its_interval_and_whether_it_is_clear(gauge):
    good = replace(gauge.bias, mean=0.0003, low=-0.0001, high=0.0007, n=20, since=gauge.checks[0].day)
    assert gauges.bias_sentence(replace(gauge, bias=good)) == (
        "Over its last 20 checks it reads +0.0003 mm off its master (−0.0001 to +0.0007, 95 in 100 sure): "
        "no clear bias."
    )
    off = replace(good, mean=0.006, low=0.005, high=0.007, n=3, since=gauge.bias.since, clear=True)
    said = gauges.bias_sentence(replace(gauge, bias=off))
    assert said.startswith("Since its last good check") and said.endswith("from 3 checks: a clear bias.")
    assert gauges.bias_sentence(replace(gauge, bias=None)).startswith("No check")


def test_a_scatter_is_written_in_the_unit_a_person_reads(gauge):
    (measure,) = gauge.measures
    assert "scatter by 4.1 µm" in gauges.step_sentence(gauge, measure)
    assert "scatter by 4.4 mm" in gauges.step_sentence(gauge, replace(measure, spread=4.4))


def test_a_study_that_failed_says_why(texts):
    failed = {"state": "failed", "message": "x.csv: there is no column 'value'", "receipt": None}
    assert "there is no column 'value'" in texts(answer_card(failed))


def test_a_study_is_a_sentence_a_chart_and_a_table(in_app, study, texts):
    said = texts(answer_card({"state": "done", "receipt": study}))
    assert said.index("Not good for charting") < said.index("same person, same part")
    assert "bore in bore study.csv: 8 parts, three persons, two readings each." in said
    assert "92 %" in said and "Person and part together is pooled into repeatability." in said
    assert "from 10" in said  # the zone in which one reading proves a piece good
    never = {**study, "study": {**study["study"], "guard_band": {"possible": False}}}
    assert "never; take a finer gauge" in texts(answer_card({"state": "done", "receipt": never}))
