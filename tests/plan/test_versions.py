"""A target that changes keeps its past, within one file and across versions of it."""

from datetime import date

import pytest

from qc.plan import keep_past, load_plan

MARCH, APRIL, MAY, JUNE = (date(2026, month, 1) for month in (3, 4, 5, 6))


def plan(limits, models="[]", unit="um"):
    return load_plan(f"""\
workshop: {{name: Two Benches}}
models:
  - {{id: tenor, name: Tenor, family: low, pedal_midi: 34, length_mm: 2945}}
  - {{id: bass, name: Bass, family: low, pedal_midi: 34, length_mm: 2945}}
stages:
  - id: s
    name: S
    characteristics:
      - {{id: c, name: C, unit: {unit}, models: {models}, limits: {limits}}}
""")


def targets(merged, model="tenor"):
    own = merged.characteristic("s", "c")
    days = (date(2026, 2, 15), date(2026, 3, 15), date(2026, 4, 15), date(2026, 5, 15), date(2026, 6, 15))
    return [merged.limits(own, model, day).target for day in days]


def test_one_version_is_the_plan_itself():
    only = plan("[{target: 1}]")
    assert keep_past([(MARCH, only)]) is only


def test_a_figure_written_over_holds_from_the_day_it_was_met():
    merged = keep_past([(MARCH, plan("[{target: 1}]")), (MAY, plan("[{target: 2}]"))])
    assert targets(merged) == [1, 1, 1, 2, 2]


@pytest.mark.parametrize(
    "new", ["[{target: 2}]", "[{target: 1}, {target: 2, since: 2026-05-01}]"], ids=["written over", "dated"]
)
def test_a_piece_whose_card_names_no_model_keeps_its_limits(new):
    """They were gone: what held for every model was written out for each, and none was left for no model."""
    merged = keep_past([(MARCH, plan("[{target: 1}]")), (MAY, plan(new))])
    assert targets(merged, "") == [1, 1, 1, 2, 2]
    own = merged.characteristic("s", "c").limits
    assert [(e.models, e.since, e.target) for e in own] == [((), None, 1), ((), MAY, 2)], "told once"


def test_three_versions():
    versions = [(MARCH, plan("[{target: 1}]")), (APRIL, plan("[{target: 2}]")), (JUNE, plan("[{target: 3}]"))]
    assert targets(keep_past(versions)) == [1, 1, 2, 2, 3]


def test_an_entry_with_its_own_day_holds_from_then_whenever_it_was_written():
    old = plan("[{target: 1}]")
    back = plan("[{target: 1}, {target: 2, since: 2026-03-01}]")
    assert targets(keep_past([(MARCH, old), (MAY, back)])) == [1, 2, 2, 2, 2]
    ahead = plan("[{target: 1}, {target: 2, since: 2026-06-01}]")
    assert targets(keep_past([(MARCH, old), (MAY, ahead)])) == [1, 1, 1, 1, 2]


def test_days_of_the_older_file_are_not_forgotten():
    old = plan("[{target: 1}, {target: 2, since: 2026-04-01}]")
    assert targets(keep_past([(MARCH, old), (MAY, plan("[{target: 2}]"))])) == [1, 1, 2, 2, 2]


def test_a_slip_is_mended_for_the_past_by_an_early_day():
    old = plan("[{target: 1500}]")
    mended = plan("[{target: 150, since: 2000-01-01}]")
    assert targets(keep_past([(MARCH, old), (MAY, mended)])) == [150] * 5


def test_each_model_has_its_own_past():
    old = plan("[{target: 1}, {models: [bass], target: 5}]")
    new = plan("[{target: 1}, {models: [bass], target: 6}]")
    merged = keep_past([(MARCH, old), (MAY, new)])
    assert targets(merged) == [1] * 5
    assert targets(merged, "bass") == [5, 5, 5, 6, 6]


def test_a_model_that_joins_later_has_only_the_new_figures():
    merged = keep_past([(MARCH, plan("[{target: 1}]", "[tenor]")), (MAY, plan("[{target: 2}]"))])
    assert targets(merged) == [1, 1, 1, 2, 2]
    assert targets(merged, "bass") == [2] * 5


def test_limits_taken_out_hold_until_then():
    merged = keep_past([(MARCH, plan("[{target: 1, lower: 0}]")), (MAY, plan("[]"))])
    assert targets(merged) == [1, 1, 1, None, None]


def test_limits_that_are_new_do_not_reach_back():
    assert targets(keep_past([(MARCH, plan("[]")), (MAY, plan("[{target: 1}]"))])) == [None, None, None, 1, 1]


@pytest.mark.parametrize(
    "new", [plan("[{target: 1}]"), plan("[{target: 2}]", unit="mm")], ids=["same", "unit"]
)
def test_unchanged_limits_and_a_new_unit_leave_the_new_plan_alone(new):
    assert keep_past([(MARCH, plan("[{target: 1}]")), (MAY, new)]) is new
