"""Single pieces against their limits: the worst place, what decides, and what a gauge can tell."""

from datetime import date, timedelta
from types import SimpleNamespace

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.plan import PLACE, Characteristic, DatedLimits, Derive, Gauge, Plan, Shop, Stage
from qc.watch import Point, is_bad, outside_words, piece_figures, place_words

DAY = date(2026, 5, 4)
LACQUER = Characteristic(
    id="thickness",
    name="Lacquer",
    unit="um",
    places={"area": ("flare", "stem"), "spot": ("1", "2", "3", "4", "5")},
    limits=(DatedLimits(target=15, lower=10),),
)


def plan_of(*characteristics, gauges=()):
    stage = Stage(id="s", name="Stage", characteristics=characteristics)
    return Plan(workshop=Shop(name="Sedge Mill"), models=(), stages=(stage,), gauges=gauges)


def rows_of(rows):
    """Make readings from (serial, value) and what differs from the usual card."""
    base = {"model": "tenor", "stage": "s", "characteristic": "thickness", "unit": "um", "day": DAY}
    base |= dict.fromkeys(("person", "gauge", "tool", "batch", "method"))
    base |= {**dict.fromkeys(PLACE), "air_c": None}
    kinds = {**{n: pl.Int64 if k == "int" else pl.String for n, k in PLACE.items()}, "value": pl.Float64}
    kinds |= {"air_c": pl.Float64, "day": pl.Date}
    full = [{**base, "serial": serial, "value": value, **more} for serial, value, more in rows]
    schema = {name: kinds.get(name, pl.String) for name in ("serial", "value", *base)}
    return pl.DataFrame(full, schema=schema)


def coat(serial, ums, **more):
    """Return the spots of one instrument, area by area."""
    return [
        (serial, um, {"area": ("flare", "stem")[n // 5], "spot": n % 5 + 1, **more})
        for n, um in enumerate(ums)
    ]


def figures(rows, characteristic=LACQUER, *more, gauges=(), wanted=()):
    plan = plan_of(characteristic, *more, gauges=gauges)
    return piece_figures(rows_of(rows), plan, plan.stages[0], characteristic, wanted=wanted)


SPOTS = [8.4, 9.3, 9.7, 12.0, 12.5, 13.0, 13.0, 13.5, 13.6, 13.0]


def test_a_mean_inside_hides_no_spot_outside():
    """Spots of 8.4, 9.3 and 9.7 under a limit of 10, and a clean mean of 11.8: such a one was shipped."""
    assert sum(SPOTS) / 10 == pytest.approx(11.8)
    (found,) = figures(coat("A-1", SPOTS))
    assert (found.place, found.value, found.lower, found.inside) == ("flare, spot 1", 8.4, 10.0, False)
    assert outside_words(found) == "8.4 µm at flare, spot 1, under 10 µm"
    assert figures(coat("A-1", SPOTS), LACQUER.model_copy(update={"decides": "mean"})) == ()


def test_a_mean_outside_is_told_as_a_mean():
    thin = LACQUER.model_copy(update={"decides": "mean"})
    (found,) = figures(coat("A-1", [9.0] * 9 + [10.0]), thin)
    assert (found.place, found.inside) == ("mean of 10 places", False)
    assert outside_words(found) == "mean of 10 places: 9.1 µm, under 10 µm"


RULE = LACQUER.model_copy(update={"decides": "80-20"})


@pytest.mark.parametrize(
    "spots, said",
    [
        ([15.0, 12.0] + [16.0] * 8, None),
        ([11.9] + [17.0] * 9, "a place under 80 % of nominal"),
        ([12.1] * 2 + [17.0] * 8, "2 of 10 places below nominal"),
        ([14.9] + [14.99] + [15.0] * 8, "the mean under nominal and 2 of 10 places below nominal"),
        ([45.1] + [16.0] * 9, "a place over three times nominal"),
    ],
    ids="kept thin few mean thick".split(),
)
def test_the_house_rule_decides_where_the_plan_says_so(spots, said):
    """A mean that reaches the nominal, 80 % of it at each place, few places below, none over three times."""
    found = figures(coat("A-1", spots), RULE)
    assert [one.rule for one in found] == ([said] if said else [])
    if said:
        assert found[0].inside is False and "house rule" in outside_words(found[0])


def test_the_worst_place_of_a_piece_inside_is_told_to_who_asks():
    (found,) = figures(coat("A-1", [12.0, 11.0, 13.0]), wanted=["A-1"])
    assert (found.place, found.value, found.inside, found.near) == ("flare, spot 2", 11.0, True, False)


def test_a_limit_of_some_places_holds_nowhere_else():
    tube = Characteristic(
        id="thickness",
        name="Tube",
        unit="mm",
        places={"surface": ("stocking", "body")},
        limits=(DatedLimits(lower=13.86, upper=13.94, at={"surface": ("stocking",)}),),
    )
    body = ("A-1", 13.80, {"surface": "body"})
    assert figures([body, ("A-1", 13.90, {"surface": "stocking"})], tube) == ()
    (found,) = figures([body, ("A-1", 13.95, {"surface": "stocking"})], tube)
    assert found.place == "stocking" and found.upper == 13.94
    # a card that leaves the surface out is of the stocking, as the clearance takes it
    assert figures([("A-1", 13.80, {})], tube)[0].inside is False


def test_what_was_measured_again_later_is_what_the_piece_is_now():
    first, again = coat("A-1", [8.0, 12.0]), coat("A-1", [12.1], day=DAY + timedelta(days=2))
    assert figures(first + again) == ()
    assert figures(coat("A-1", [12.0]) + coat("A-1", [8.0], day=DAY + timedelta(days=2)))[0].value == 8.0


def test_readings_of_one_place_and_day_are_averaged():
    assert figures(coat("A-1", [9.9]) + coat("A-1", [10.1])) == ()
    assert figures(coat("A-1", [9.9]) + coat("A-1", [10.0]))[0].value == pytest.approx(9.95)


def test_a_figure_on_its_limit_is_inside_to_the_last_bits():
    """In binary (14.05 - 13.85) * 1000 is a little more than 200."""
    slide = Characteristic(
        id="clearance", name="C", unit="um", derive=Derive(what="clearance"), limits=(DatedLimits(upper=200),)
    )
    of = {"leg": "upper", "station": "mouth"}
    rows = [
        ("A-1", 13.85, {**of, "characteristic": "inner_od"}),
        ("A-1", 14.05, {**of, "characteristic": "outer_bore"}),
    ]
    assert (14.05 - 13.85) * 1000 > 200
    assert figures(rows, slide) == ()
    rows[1] = ("A-1", 14.051, {**of, "characteristic": "outer_bore"})
    (found,) = figures(rows, slide)
    assert (found.place, found.inside) == ("upper leg, mouth", False)


GAUGE = Gauge(id="EC-1", name="Gauge", gauge_class="e", resolution=0.1, unit="um", spread=4.0)
BAND = LACQUER.model_copy(update={"limits": (DatedLimits(lower=100, upper=200),)})


@pytest.mark.parametrize(
    "value, inside, near",
    [
        (108.0, True, False),
        (192.0, True, False),
        (107.9, True, True),
        (192.1, True, True),
        (200.1, False, False),
    ],
)
def test_the_guard_band_is_that_of_the_published_check(value, inside, near):
    """Trade check T113: limits 100 and 200 with an uncertainty of 8 leave 108 to 192 (ISO 14253-1)."""
    (found,) = figures(coat("A-1", [value], gauge="EC-1"), BAND, gauges=(GAUGE,), wanted=["A-1"])
    assert (found.guard, found.inside, found.near) == (8.0, inside, near)


def test_without_the_spread_of_a_gauge_nothing_is_taken_off():
    (found,) = figures(coat("A-1", [101.0], gauge="XX"), BAND, gauges=(GAUGE,), wanted=["A-1"])
    assert (found.guard, found.near) == (None, False)


def test_two_gauges_of_a_clearance_scatter_together():
    """Independent spreads add up as squares: 3 and 4 um give 5, twice that is taken off."""
    three = Gauge(id="M", name="M", gauge_class="m", resolution=0.001, unit="mm", spread=0.003)
    four = Gauge(id="B", name="B", gauge_class="b", resolution=0.001, unit="mm", spread=0.004)
    slide = Characteristic(
        id="clearance", name="C", unit="um", derive=Derive(what="clearance"), limits=(DatedLimits(upper=200),)
    )
    of = {"leg": "upper", "station": "mouth"}
    rows = [
        ("A-1", 13.86, {**of, "characteristic": "inner_od", "gauge": "M"}),
        ("A-1", 14.05, {**of, "characteristic": "outer_bore", "gauge": "B"}),
    ]
    (found,) = figures(rows, slide, gauges=(three, four), wanted=["A-1"])
    assert found.guard == pytest.approx(10.0) and not found.near


spots = st.lists(
    st.tuples(
        st.sampled_from(["A-1", "A-2", "A-3"]),
        st.integers(60, 200).map(lambda n: n / 10),
        st.sampled_from(["flare", "stem", None]),
        st.integers(1, 3),
        st.integers(0, 2),
    ),
    max_size=25,
)


@given(spots)
def test_no_piece_outside_at_any_place_is_missing(drawn):
    """Against a plain loop over the readings."""
    rows = [(s, v, {"area": a, "spot": n, "day": DAY + timedelta(days=d)}) for s, v, a, n, d in drawn]
    places = {}
    for serial, value, area, spot, day in drawn:
        places.setdefault((serial, area, spot), {}).setdefault(day, []).append(value)
    now = {place: days[max(days)] for place, days in places.items()}
    outside = {place[0] for place, values in now.items() if sum(values) / len(values) < 10 - 1e-9}
    assert {one.serial for one in figures(rows) if one.inside is False} == outside


def verdict(values, start, *, target=None, lower=None, upper=None, kind="measured", follows_line=False):
    points = [Point(n, f"A-{n}", DAY, "", v, v) for n, v in enumerate(values, start=1)]
    own = SimpleNamespace(kind=kind, points=points, target=target, lower=lower, upper=upper)
    own.follows_line = follows_line
    return own, start


@pytest.mark.parametrize(
    "made, kind, side, bad",
    [
        (verdict([0, 0, 5, 5], 3, target=0, lower=-9, upper=9), "shift", "above", True),
        (verdict([5, 5, 0, 0], 3, target=0, lower=-9, upper=9), "shift", "below", False),
        (verdict([5, 5, 2, 2], 3, upper=6), "shift", "below", False),
        (verdict([2, 2, 5, 5], 3, upper=6), "shift", "above", True),
        (verdict([9, 9, 5, 5], 3, target=9, lower=4), "shift", "below", True),
        (verdict([9, 9, 12, 12], 3, target=9, lower=4), "shift", "above", False),
        (verdict([9, 9, 12, 12], 3), "shift", "above", False),
        (verdict([0, 0, 1, 1], 3, kind="pass-fail"), "count", "above", True),
        (verdict([1, 1, 0, 0], 3, kind="pass-fail"), "count", "below", False),
        (verdict([0, 0, 5, 5], 3, upper=9), "spread", "above", True),
        (verdict([0, 0, 5, 5], 3, upper=9), "spread", "below", False),
        (verdict([0, 1, 2, 3], 1, target=3, lower=-9, upper=9, follows_line=True), "trend", "above", True),
    ],
    ids=(
        "from-target to-target from-limit to-limit thinner thicker nothing-wanted "
        "more fewer wider narrower wears"
    ).split(),
)
def test_a_change_is_bad_where_it_leads_away_from_what_is_wanted(made, kind, side, bad):
    own, start = made
    signal = SimpleNamespace(kind=kind, side=side, start=start, size=1.0)
    assert is_bad(own, signal) is bad


def test_a_place_is_said_as_on_a_bench():
    assert place_words({"valve": "F", "position": 4, "partial": 5}) == "valve F, position 4, partial 5"
    assert place_words({}) == ""
