"""Limits that name their places, what decides about a piece, and how both keep their past."""

from datetime import date

import pytest

from qc.plan import Characteristic, DatedLimits, check_plan, dump_plan, keep_past, load_plan, template_text

DAY = date(2026, 5, 14)
TUBE = Characteristic(
    id="inner_od",
    name="Inner OD",
    unit="mm",
    places={"surface": ("stocking", "body"), "leg": ("upper", "lower")},
    limits=(
        DatedLimits(lower=1.0),
        DatedLimits(models=("bass",), lower=2.0),
        DatedLimits(at={"surface": ("stocking",)}, lower=3.0),
        DatedLimits(at={"surface": ("stocking",), "leg": ("upper",)}, lower=4.0),
    ),
)
OLD = template_text()
HEAD = next(line for line in OLD.splitlines(keepends=True) if "surface: [stocking, body]" in line)
LIMITED = HEAD + "        limits: [{target: 13.9, lower: 13.86, upper: 13.94}]\n"
AT = HEAD + "        limits: [{target: 13.9, lower: 13.86, upper: 13.94, at: {surface: [stocking]}}]\n"


def with_inner(text):
    assert HEAD in OLD
    return OLD.replace(HEAD, text)


@pytest.mark.parametrize(
    "model, place, lower",
    [
        ("tenor", {"surface": "body", "leg": "upper"}, 1.0),
        ("bass", {"surface": "body", "leg": "upper"}, 2.0),
        ("bass", {"surface": "stocking", "leg": "lower"}, 3.0),
        ("bass", {"surface": "stocking", "leg": "upper"}, 4.0),
        ("tenor", {"surface": None, "leg": "lower"}, 3.0),
    ],
    ids=["every place", "its model", "its surface", "surface and leg", "surface not written"],
)
def test_the_limits_of_a_place_win_over_those_for_every_place(model, place, lower):
    plan = load_plan(OLD)
    assert plan.limits_at(TUBE, model, DAY, place).lower == lower


def test_a_whole_piece_goes_by_the_limits_without_places():
    plan = load_plan(OLD)
    assert plan.limits(TUBE, "bass", DAY).lower == 2.0
    only = TUBE.model_copy(update={"limits": TUBE.limits[2:3]})
    assert plan.limits(only, "bass", DAY) == DatedLimits()
    assert plan.limits_at(only, "bass", DAY, {"surface": "body"}) == DatedLimits()
    assert plan.usual_limits(only, "bass", DAY).lower == 3.0  # a typed figure is likely about there


def test_places_are_written_and_read_back():
    plan = load_plan(with_inner(AT))
    assert plan.characteristic("slide", "inner_od").limits[0].at == {"surface": ("stocking",)}
    assert load_plan(dump_plan(plan)) == plan


@pytest.mark.parametrize(
    "text, said",
    [
        (AT.replace("surface: [stocking]}", "area: [flare]}"), '"inner_od" has no places by "area"'),
        (AT.replace("[stocking]}", "[stoking]}"), 'there is no place by "surface" named "stoking"'),
        (AT.replace("[stocking]}", "[]}"), "names no places"),
        (
            AT.replace("]\n", ", {upper: 14, at: {surface: [body, stocking]}}]\n"),
            "a second entry for every model without a day and for a place of both",
        ),
        (HEAD + "        decides: mean\n", "there are no limits for the whole piece"),
        (AT + "        decides: mean\n", "there are no limits for the whole piece"),
        (LIMITED.replace("target: 13.9, ", "") + "        decides: 80-20\n", "a nominal above 0 is missing"),
        (LIMITED + "        near_limit: held\n", "no gauge says its spread"),
        (LIMITED + "        decides: worst\n", "decides"),
    ],
    ids="no-part no-value empty twice no-limits only-places no-nominal no-spread unknown".split(),
)
def test_what_could_never_hold_is_named_with_its_line(text, said):
    (fault, *more) = check_plan(with_inner(text))
    assert said in str(fault) and not more
    line = OLD[: OLD.index(HEAD)].count("\n") + 1
    assert line < fault.line <= line + 3


def test_other_places_of_a_day_are_no_second_entry():
    assert check_plan(with_inner(AT.replace("]\n", ", {upper: 13.8, at: {surface: [body]}}]\n"))) == []


def test_the_rule_needs_places():
    derived = "        derive: {what: clearance}\n"
    text = OLD.replace(derived, derived + "        decides: 80-20\n")
    assert ["not measured at several places" in str(fault) for fault in check_plan(text)] == [True]


def test_limits_that_come_to_name_their_places_keep_their_past():
    old, new = load_plan(with_inner(LIMITED)), load_plan(with_inner(AT))
    plan = keep_past([(date(2026, 3, 2), old), (DAY, new)])
    tube, body = plan.characteristic("slide", "inner_od"), {"surface": "body"}
    assert plan.limits_at(tube, "tenor", date(2026, 3, 20), body).lower == 13.86
    assert plan.limits_at(tube, "tenor", DAY, body).lower is None
    assert plan.limits_at(tube, "tenor", DAY, {"surface": "stocking"}).lower == 13.86


def test_a_day_given_with_the_places_puts_the_past_right():
    old = load_plan(with_inner(LIMITED))
    new = load_plan(with_inner(AT.replace("at:", "since: 2000-01-01, at:")))
    plan = keep_past([(date(2026, 3, 2), old), (DAY, new)])
    tube = plan.characteristic("slide", "inner_od")
    assert plan.limits_at(tube, "tenor", date(2026, 3, 20), {"surface": "body"}).lower is None
    assert plan.limits_at(tube, "tenor", date(2026, 3, 20), {"surface": "stocking"}).lower == 13.86


def test_a_typed_figure_is_weighed_by_its_own_place_else_by_what_is_usual():
    plan = load_plan(OLD)
    row = {"surface": "stocking", "leg": "upper", "value": 13.9}
    assert plan.usual_limits_at(TUBE, "bass", DAY, row).lower == 4.0
    assert plan.usual_limits_at(TUBE, "bass", DAY, {**row, "surface": "body"}).lower == 2.0
    only = TUBE.model_copy(update={"limits": TUBE.limits[2:3]})
    assert plan.usual_limits_at(only, "bass", DAY, {"surface": "body"}).lower == 3.0
