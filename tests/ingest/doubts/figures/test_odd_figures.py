"""Figures that are odd for what they stand for, no slip of the point: each caught, one left alone."""

from __future__ import annotations

import polars as pl
import pytest

from qc.ingest import check, known_from, read_sheet, unfold
from qc.plan import DatedLimits

HEAD = ["Date", "Serial", "Model", "Person", "Gauge"]
DAY = "2026-05-12"


def card(title, columns, *rows):
    return [["Card", title], [], [*HEAD, *columns], *rows]


def piece(n, *figures, model="tenor", gauge="", day="2026-05-04"):
    return [day, f"TH-{1000 + n}", model, "AB", gauge, *figures]


@pytest.fixture
def asked(plan, known, as_csv):
    """Judge one sheet after a record of others; give the findings of its held rows."""

    def read(rows, name, own):
        return unfold(read_sheet(as_csv(rows), name)[0], own)

    def run(before, rows, own=plan):
        first = check([read(before, "before.csv", own)], own, known)[0]
        assert first.held.height == 0
        past = known_from(known.today, first.readings.with_row_index("id"), first.events)
        held = check([read(rows, "now.csv", own)], own, past)[0].held
        return held.select(
            pl.col("typed").str.json_path_match("$.serial").alias("serial"),
            pl.col("reasons").str.json_path_match("$[*].id").alias("id"),
            pl.col("reasons"),
            pl.col("proposal"),
        ).to_dicts()

    return run


def reasons(found):
    return [row["id"] for row in found]


# ------------------------------------------------------------------------------------------- columns-swapped
TUBES = ["Tube OD", "Tube bore"]


def tubes(n, od=14.9, bore=14.05, **more):
    off = (n * 7 % 9 - 4) / 1000
    return piece(n, f"{od + off:.3f}", f"{bore - off:.3f}", **more)


def test_two_figures_in_each_others_column_are_changed_back(asked):
    found = asked(
        card("Drawing log", TUBES, *[tubes(n) for n in range(1, 31)]),
        card("Drawing log", TUBES, tubes(31, day=DAY), piece(32, "14.052", "14.903", day=DAY)),
    )
    assert [(row["serial"], row["id"], row["proposal"]) for row in found] == [
        ("TH-1032", "columns-swapped", '{"value": 14.903}'),
        ("TH-1032", "columns-swapped", '{"value": 14.052}'),
    ]


def test_a_figure_far_off_beside_a_usual_one_is_not_taken_for_an_exchange(asked):
    found = asked(
        card("Drawing log", TUBES, *[tubes(n) for n in range(1, 31)]),
        card("Drawing log", TUBES, piece(31, "14.052", "14.051", day=DAY)),
    )
    assert "columns-swapped" not in reasons(found)


# ------------------------------------------------------------------------------------------------- sign-lost
NOTES = ["Position", "Partial", "Cents"]
USUAL = {2: -14, 3: 2, 4: -11, 5: -16, 6: 3, 8: -12}


def notes(n, **changed):
    wobble = n * 5 % 7 - 3
    return [
        piece(n, 1, partial, changed.get(f"p{partial}", cents + (wobble if partial != 5 else -wobble)))
        for partial, cents in USUAL.items()
    ]


def test_a_sign_left_off_is_put_back(asked):
    past = [row for n in range(1, 31) for row in notes(n)]
    found = asked(
        card("Tuning card", NOTES, *past), card("Tuning card", NOTES, *notes(31), *notes(32, p5="16"))
    )
    assert [(row["serial"], row["id"], row["proposal"]) for row in found] == [
        ("TH-1032", "sign-lost", '{"value": -16.0}')
    ]


def test_a_note_near_nought_may_have_either_sign(asked):
    past = [row for n in range(1, 31) for row in notes(n)]
    assert asked(card("Tuning card", NOTES, *past), card("Tuning card", NOTES, *notes(31, p3="-2"))) == []


# ----------------------------------------------------------------------------------------------- other-model
@pytest.fixture
def two_sizes(plan):
    """The plan with rims of two sizes: what fits one model is out of the question for the other."""
    stage = plan.stage("polish")
    limits = (
        DatedLimits(target=18, lower=10, upper=26, models=("tenor",)),
        DatedLimits(target=60, lower=50, upper=70, models=("tenor-f",)),
    )
    own = stage.characteristics[0].model_copy(update={"limits": limits})
    stages = tuple(
        stage.model_copy(update={"characteristics": (own,)}) if s is stage else s for s in plan.stages
    )
    return plan.model_copy(update={"stages": stages})


def losses(numbers, model="tenor", middle=18.0, day="2026-05-04"):
    return [piece(n, f"{middle + n * 7 % 9 / 10:.1f}", model=model, day=day) for n in numbers]


def test_a_figure_of_another_model_is_asked_about_and_nothing_is_guessed(asked, two_sizes):
    past = [*losses(range(1, 31)), *losses(range(31, 61), "tenor-f", 60.0)]
    now = [*losses([61], day=DAY), *losses([62], "tenor", 60.0, DAY)]
    found = asked(
        card("Polishing card", ["Mass loss"], *past), card("Polishing card", ["Mass loss"], *now), two_sizes
    )
    assert [(row["serial"], row["id"], row["proposal"]) for row in found] == [("TH-1062", "other-model", "")]
    assert "is tenor and reads 60.2 g, which is a figure of tenor-f" in found[0]["reasons"]


def test_where_limits_of_two_models_overlap_a_figure_names_neither(asked, plan):
    past = [*losses(range(1, 31)), *losses(range(31, 61), "tenor-f")]
    found = asked(
        card("Polishing card", ["Mass loss"], *past),
        card("Polishing card", ["Mass loss"], *losses([61], "tenor", 27.0, DAY)),
    )
    assert "other-model" not in reasons(found)


# ---------------------------------------------------------------------------------------------- many-counted
def counts(numbers, each=lambda n: n % 4, day="2026-05-04"):
    return [piece(n, each(n), day=day) for n in numbers]


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        pytest.param(30, '{"value": 3.0}', id="a nought too many"),
        pytest.param(33, "", id="a key struck twice"),
    ],
)
def test_a_count_beyond_anything_counted_before_is_asked_about(asked, typed, offered):
    found = asked(
        card("Lacquer defects card", ["Lacquer defects"], *counts(range(1, 41))),
        card(
            "Lacquer defects card",
            ["Lacquer defects"],
            *counts([41, 42], lambda n: typed if n == 42 else 1, DAY),
        ),
    )
    assert [(row["serial"], row["id"], row["proposal"]) for row in found] == [
        ("TH-1042", "many-counted", offered)
    ]


def test_a_dusty_week_goes_in(asked):
    # more than any before, of one digit
    found = asked(
        card("Lacquer defects card", ["Lacquer defects"], *counts(range(1, 41))),
        card("Lacquer defects card", ["Lacquer defects"], *counts([41, 42, 43], lambda n: 9, DAY)),
    )
    assert found == []


# ----------------------------------------------------------------------------------------------- other-gauge
def test_a_gauge_of_another_kind_is_asked_about_and_the_only_right_one_offered(asked):
    rows = [piece(n, f"{1 + n % 5 / 10:.1f}", gauge="LR-1") for n in range(1, 31)]
    now = [piece(31, "1.2", gauge="LR-1", day=DAY), piece(32, "1.2", gauge="TU-1", day=DAY)]
    found = asked(card("Joints card", ["Joint leak"], *rows), card("Joints card", ["Joint leak"], *now))
    assert [(row["serial"], row["id"], row["proposal"]) for row in found] == [
        ("TH-1032", "other-gauge", '{"gauge": "LR-1"}')
    ]
    assert "TU-1 is a tuner, and leak is read with a leak-rig" in found[0]["reasons"]


def test_any_gauge_goes_in_where_the_plan_names_no_kind(asked):
    rows = [piece(n, n % 3, gauge="RU-1") for n in range(1, 31)]
    found = asked(
        card("Lacquer defects card", ["Lacquer defects"], *rows),
        card("Lacquer defects card", ["Lacquer defects"], piece(31, 1, gauge="TU-1", day=DAY)),
    )
    assert found == []


# ------------------------------------------------------------------------------------------- far-from-usual
@pytest.fixture
def aimed_at_nought(plan):
    """A figure of which the less the better: its target says nothing of what is usual."""
    stage = plan.stage("polish")
    limits = (DatedLimits(target=0.0, upper=40.0),)
    own = stage.characteristics[0].model_copy(update={"limits": limits, "shape": "auto", "sensible": None})
    stages = [stage.model_copy(update={"characteristics": (own,)}) if s is stage else s for s in plan.stages]
    return plan.model_copy(update={"stages": tuple(stages)})


def test_while_few_are_known_the_plan_is_not_called_usual_and_the_point_is_put_back(asked, aimed_at_nought):
    first, now = losses(range(1, 6)), [piece(6, "182", day=DAY)]
    found = asked(
        card("Polishing card", ["Mass loss"], *first),
        card("Polishing card", ["Mass loss"], *now),
        aimed_at_nought,
    )
    assert [(row["serial"], row["id"], row["proposal"]) for row in found] == [
        ("TH-1006", "decimal-slip", '{"value": 18.2}')
    ]
    assert "where the plan aims at 0" in found[0]["reasons"] and "usual" not in found[0]["reasons"]


def test_nothing_is_offered_that_the_few_known_are_not_like(asked, aimed_at_nought):
    found = asked(
        card("Polishing card", ["Mass loss"], *losses(range(1, 6))),
        card("Polishing card", ["Mass loss"], piece(6, "390", day=DAY)),
        aimed_at_nought,
    )
    assert [(row["id"], row["proposal"]) for row in found] == [("far-from-usual", "")]
