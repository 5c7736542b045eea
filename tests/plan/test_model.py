from datetime import date

import pytest
from pydantic import ValidationError

from qc.plan import Characteristic, DatedLimits, Gauge, load_plan, template_text

PLAN = load_plan(template_text())


def test_the_template_has_everything_a_bench_needs():
    assert {card.source for card in PLAN.cards} == {"slide", "tuning", "lacquer", "bench"}
    assert PLAN.person(PLAN.workshop.lead) is not None
    assert all(characteristic.plain for _, characteristic, _ in PLAN.charted() if characteristic.derive)


def test_look_ups_find_or_say_none():
    assert PLAN.model("bass").valves[1].depends_on == "F"
    assert PLAN.stage("slide").name == "Hand slide"
    assert PLAN.characteristic("slide", "clearance").unit == "um"
    assert PLAN.gauge("MIC-1").unit == "mm"
    assert PLAN.tool("D-14A").tool_class == "die"
    assert PLAN.person("B1").name == "Slide bench"
    for found in (PLAN.model("x"), PLAN.stage("x"), PLAN.characteristic("x", "y"), PLAN.gauge("x")):
        assert found is None
    assert (PLAN.tool("x"), PLAN.person("x"), PLAN.characteristic("slide", "x")) == (None, None, None)


def test_families_follow_the_pooling():
    clearance = PLAN.characteristic("slide", "clearance")
    wrap = PLAN.characteristic("tuning", "wrap-F")
    assert PLAN.families_of(clearance) == ("tenors", "basses")
    assert PLAN.family_of(clearance, "bass") == "basses"
    assert PLAN.families_of(wrap) == ("all",)
    assert PLAN.family_of(wrap, "tenor") == "all"
    by_model = clearance.model_copy(update={"pool": "model"})
    assert PLAN.families_of(by_model) == ("tenor", "tenor-f", "bass")
    assert PLAN.family_of(by_model, "bass") == "bass"
    assert PLAN.family_of(by_model.model_copy(update={"models": ("bass",)}), "tenor") is None


def test_charted_series_are_in_route_order_and_leave_out_what_is_not_charted():
    names = [(stage.id, characteristic.id, family) for stage, characteristic, family in PLAN.charted()]
    assert names[0] == ("drawing", "od", "all")
    assert ("slide", "inner_od", "tenors") not in names
    assert names.index(("slide", "clearance", "tenors")) < names.index(("lacquer", "thickness", "all"))


def test_the_entry_for_a_model_wins_then_the_latest_day():
    figure = Characteristic(
        id="c",
        name="C",
        unit="um",
        limits=(
            DatedLimits(target=1),
            DatedLimits(target=2, since=date(2026, 3, 1)),
            DatedLimits(target=3, models=("bass",)),
            DatedLimits(target=4, models=("bass",), since=date(2026, 4, 1)),
        ),
    )
    got = [
        PLAN.limits(figure, model, date(2026, month, 1)).target
        for model in ("tenor", "bass")
        for month in (2, 3, 4)
    ]
    assert got == [1, 2, 2, 3, 3, 4]
    assert PLAN.limits(Characteristic(id="c", name="C", unit="um"), "bass", date(2026, 1, 1)) == DatedLimits()


@pytest.mark.parametrize("day", ["1.3.2026", "86400", "today", "2026-13-01"])
def test_a_day_is_written_year_month_day(day):
    with pytest.raises(ValidationError, match="not a day of the form"):
        Gauge(id="g", name="G", gauge_class="c", resolution=0.1, unit="um", due=day)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_only_numbers_one_can_measure(number):
    with pytest.raises(ValidationError):
        DatedLimits(target=number)


def test_parts_cannot_be_changed():
    with pytest.raises(ValidationError):
        PLAN.workshop.name = "x"
