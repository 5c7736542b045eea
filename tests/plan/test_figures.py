"""Figures and days of a plan that cannot both be right."""

import pytest

from qc.plan import check_plan

BASE = """\
workshop: {name: Two Benches}
models:
  - {id: tenor, name: Tenor, family: tenors, pedal_midi: 34, length_mm: 2945}
  - {id: bass, name: Bass, family: basses, pedal_midi: 34, length_mm: 2945}
stages:
  - id: lacquer
    name: Lacquer
    characteristics:
      - id: thickness
        name: Thickness
        unit: um
        sensible: [0, 60]
        limits:
          - {target: 15, lower: 10, upper: 25}
          - {since: 2026-04-01, target: 16, lower: 10}
          - {models: [bass], target: 17, upper: 30}
gauges:
  - {id: G, name: G, gauge_class: coat, resolution: 0.1, unit: um, calibrated: [2026-01-05], due: 2027-01-05}
people: [{code: AB, joined: 2025-01-01, left: 2026-01-01}]
tools: [{id: B, name: Booth, tool_class: booth, fitted: 2025-01-01, removed: 2026-01-01}]
"""


def test_the_base_is_good():
    assert check_plan(BASE) == []


CASES = [
    ("name: Two Benches", "name: ''", 1, "is empty", "report"),
    (
        "{name: Two Benches}",
        "{name: x, days_off: [mon, tue, wed, thu, fri, sat, sun]}",
        1,
        "no working day",
        "",
    ),
    ("family: tenors,", "family: t, partials: [],", 3, "names no partials", "List"),
    ("family: tenors,", "family: t, partials: [0, 2],", 3, "below 1", "pedal"),
    ("family: tenors,", "family: t, partials: [2, 2],", 3, "a partial twice", "Keep one"),
    ("unit: um\n", "unit: ''\n", 11, "is empty", "um, mm or cent"),
    ("unit: um\n", "unit: μm\n", 11, "many keyboards", "Write um"),
    ("unit: um\n", "unit: cm³/min\n", 11, "many keyboards", "Write cm3/min"),
    ("sensible: [0, 60]", "sensible: [60, 0]", 12, "nothing between", "[lowest, highest]"),
    (
        "target: 15, lower: 10, upper: 25",
        "target: 15, lower: 25, upper: 10",
        14,
        "not below upper",
        "Exchange",
    ),
    (
        "target: 15, lower: 10, upper: 25",
        "target: 15, lower: 15, upper: 15",
        14,
        "not below upper",
        "Exchange",
    ),
    (
        "target: 15, lower: 10, upper: 25",
        "target: 26, lower: 10, upper: 25",
        14,
        "limits 10 to 25",
        "Correct",
    ),
    ("target: 16, lower: 10", "target: 9, lower: 10", 15, "limits from 10", "Correct"),
    ("target: 17, upper: 30", "target: 31, upper: 30", 16, "limits up to 30", "Correct"),
    ("target: 17, upper: 30", "target: 17, upper: 70", 16, "outside the sensible range 0 to 60", "Widen"),
    ("{models: [bass], target: 17, upper: 30}", "{models: [bass]}", 16, "neither a target nor", "`target:`"),
    (
        "{models: [bass], target: 17",
        "{target: 17",
        16,
        "every model without a day; the first is on line 14",
        "`since:`",
    ),
    ("due: 2027-01-05", "due: 2025-12-31", 18, "before the last calibration 2026-01-05", "runs out"),
    ("due: 2027-01-05", "daily_check: true", 18, "no tolerance", "`check_tolerance:`"),
    ("due: 2027-01-05", "check_tolerance: 0", 18, "0 is no tolerance", "above 0, in um"),
    ("left: 2026-01-01", "left: 2024-01-01", 19, "before joining", "Correct"),
    ("removed: 2026-01-01", "removed: 2024-01-01", 20, "before it was fitted", "Correct"),
]


@pytest.mark.parametrize("old, new, line, problem, mend", CASES, ids=[c[3][:40] for c in CASES])
def test_figures_that_cannot_both_be_right(old, new, line, problem, mend):
    assert BASE.count(old) == 1, f"{old!r} must stand once in the base"
    found = check_plan(BASE.replace(old, new))
    assert len(found) == 1, found
    assert found[0].line == line
    assert problem in found[0].problem
    assert mend in found[0].mend


def test_two_entries_for_one_model_and_day_name_the_model():
    text = BASE.replace("{models: [bass]", "{models: [tenor, bass], target: 17}\n          - {models: [bass]")
    assert ['model "bass"' in f.problem for f in check_plan(text)] == [True]


def test_empty_lists_of_models_and_stages():
    found = check_plan("workshop: {name: x}\nmodels: []\nstages: []\n")
    assert [(f.line, f.field) for f in found] == [(2, "models"), (3, "stages")]
