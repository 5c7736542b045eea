"""What is said to have stayed was looked at for these very readings."""

from datetime import date

import numpy as np
import pytest

from qc.plan import Gauge
from qc.watch import FactorLevels, FactorTable, Figure, SignalResult
from qc.watch.causes.unchanged import steady_kinds

N, START = 40, 28
STAGE = 2


def signal(**told):
    plain = {
        **{"kind": "shift", "side": "above", "raised": 31, "raised_serial": "S-031"},
        **{"raised_day": date(2026, 2, 5), "start": START + 1, "start_serial": "S-029"},
        **{"start_day": date(2026, 2, 3), "start_low": START, "start_high": START + 2},
        **dict.fromkeys(("size", "size_low", "size_high", "size_sigma")),
        **{"unit": "mm", "rate": 0.001, "pieces": N - START},
    }
    return SignalResult(**plain | told)


def said(small_plan, points, levels=None, figures=None, vouched=None, **columns):
    """Kinds that are said to have stayed, of a series of 40 pieces that moved at the 29th."""
    series = points(np.zeros(N), **columns)
    known = FactorLevels(levels or {}, dict.fromkeys(levels or {}, STAGE), figures or {}, vouched or {})
    return steady_kinds(series, signal(), known.beside(series, small_plan, STAGE, ("note",)), STAGE)


@pytest.mark.parametrize(
    ("people", "stayed"),
    [
        (["AB"] * N, True),
        (["AB", "CD"] * (N // 2), False),
        (["AB"] * START + ["CD"] * (N - START), False),
        (["AB + CD"] * N, True),
        (["EF"] * 4 + ["AB"] * (N - 4), True),
        (["AB"] * 15 + [""] * 2 + ["AB"] * (N - 17), False),
        ([""] * N, False),
    ],
    ids=["one", "in turns", "another since", "two on each piece", "long before", "gaps", "nothing recorded"],
)
def test_a_person_stayed_only_who_filled_this_card_alone(small_plan, points, people, stayed):
    assert ("person" in said(small_plan, points, person=people)) == stayed


def test_the_same_mix_of_models_is_one_with_the_same_shares(small_plan, points):
    mixed = ["tenor", "alto"] * (N // 2)
    assert "mix of models" in said(small_plan, points, model=mixed)
    assert "mix of models" not in said(small_plan, points, model=mixed[:START] + ["alto"] * (N - START))
    assert "mix of models" not in said(small_plan, points, model=["tenor"] * N)


def test_a_figure_that_scatters_stayed_where_its_means_do(small_plan, points, rng):
    still, gone = 20 + rng.standard_normal(N), rng.standard_normal(N)
    gone[START:] += 4
    serials = [p.serial for p in points(np.zeros(N))]
    figures = {Figure("slide", "force"): dict(zip(serials, gone, strict=True))}
    found = said(small_plan, points, figures=figures, air_c=list(still))
    assert "air temperature" in found
    assert "earlier figures of the same pieces" not in found
    few = {Figure("slide", "force"): dict(zip(serials[::2], still[::2], strict=True))}
    assert "earlier figures of the same pieces" not in said(small_plan, points, figures=few)


@pytest.mark.parametrize(
    ("checked", "word"),
    [
        ({"RU-1": {35}}, "gauge"),
        ({"RU-1": {START}}, "gauge"),
        ({"RU-1": {START - 1}}, "the same gauge"),
        ({"RU-2": {35}}, "the same gauge"),
        ({}, "the same gauge"),
    ],
    ids=["found good since", "on the first piece", "before it began", "another one", "never"],
)
def test_a_gauge_did_not_change_only_where_a_check_since_found_it_good(small_plan, points, checked, word):
    serials = [p.serial for p in points(np.zeros(N))]
    vouched = {gauge: {serials[place] for place in places} for gauge, places in checked.items()}
    found = said(small_plan, points, vouched=vouched, gauge=["RU-1"] * N)
    assert [name for name in found if "gauge" in name] == [word]


def test_a_check_that_was_off_vouches_for_nothing(small_plan, readings, events):
    gauge = Gauge(
        id="BG-1",
        name="bore gauge",
        gauge_class="bore gauge",
        resolution=0.001,
        unit="mm",
        check_tolerance=0.01,
    )
    plan = small_plan.model_copy(update={"gauges": (gauge,)})
    days = [date(2026, 4, n) for n in (1, 2, 3)]
    read = [
        {"serial": f"S-{n}", "stage": "slide", "characteristic": "outer_bore", "gauge": "BG-1", "day": day}
        for n, day in enumerate(days)
    ]
    checks = [
        {"kind": "gauge-check", "subject": "BG-1", "day": day, "value": off}
        for day, off in zip(days, (0.005, -0.02), strict=False)
    ]
    assert FactorTable(readings(read), plan).factors(events(checks)).vouched == {"BG-1": {"S-0"}}


def test_a_gauge_that_is_not_checked_each_day_is_vouched_for_by_its_next_check(small_plan, readings, events):
    read = [
        {"serial": f"S-{n}", "stage": "slide", "characteristic": "outer_bore", "gauge": "BG-1", "day": day}
        for n, day in enumerate(date(2026, 5, on) for on in (15, 19, 26))
    ]
    gauge = Gauge(
        id="BG-1",
        name="bore gauge",
        gauge_class="bore gauge",
        resolution=0.001,
        unit="mm",
        check_tolerance=0.01,
    )
    plan = small_plan.model_copy(update={"gauges": (gauge,)})
    days = [(date(2026, 5, 11), 0.001), (date(2026, 5, 18), 0.001), (date(2026, 5, 25), 0.02)]
    checks = [{"kind": "gauge-check", "subject": "BG-1", "day": day, "value": off} for day, off in days]
    # the one of the 25th puts what was read on the 19th in doubt, and nobody checked it after the 26th
    assert FactorTable(readings(read), plan).factors(events(checks)).vouched == {"BG-1": {"S-0"}}
