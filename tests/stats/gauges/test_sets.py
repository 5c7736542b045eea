"""Readings gathered into sets of repeats: against a plain loop, and the faults of a layout in words."""

import statistics

import numpy as np
import pytest

from qc.stats.errors import StatisticsError
from qc.stats.gauges.levels import nested_levels
from qc.stats.gauges.sets import averaged_sets, repeat_sets

OFF = np.random.default_rng(3).normal(0, 1, 120)
LAYOUT = [
    (run, part, day)
    for run in ("spring", "autumn")
    for part in ("a", "b", "c")
    for day in range(4)
    for _ in range(5)
]
ROWS = [(*place, float(10 + place[-1] / 10 + off)) for place, off in zip(LAYOUT, OFF, strict=True)]
RUN, PART, DAY, VALUE = (list(column) for column in zip(*ROWS, strict=True))


def test_averages_and_sds_are_those_of_a_plain_loop():
    found = repeat_sets(VALUE, DAY, PART, RUN)
    keys = list(dict.fromkeys(zip(DAY, PART, RUN, strict=True)))
    for i, key in enumerate(keys):
        mine = [v for v, *k in zip(VALUE, DAY, PART, RUN, strict=True) if tuple(k) == key]
        assert found.averages[i] == pytest.approx(statistics.fmean(mine), rel=1e-12)
        assert found.sds[i] == pytest.approx(statistics.stdev(mine), rel=1e-12)
        assert (found.days[i], found.parts[i], found.runs[i]) == tuple(map(str, key))
    assert len(found.averages) == len(keys) == 24 and found.repeats == 5


def test_the_order_of_rows_within_a_day_does_not_matter(rng):
    order = rng.permutation(len(VALUE))
    mixed = repeat_sets(*([column[i] for i in order] for column in (VALUE, DAY, PART, RUN)))
    plain, other = repeat_sets(VALUE, DAY, PART, RUN).levels(), mixed.levels()
    assert other.reading_sd == pytest.approx(plain.reading_sd, rel=1e-12)
    assert other.run_sd == pytest.approx(plain.run_sd, rel=1e-12)


def test_levels_are_those_of_the_averages():
    found = repeat_sets(VALUE, DAY, PART, RUN)
    direct = nested_levels(found.averages, found.sds, found.parts, found.runs, repeats=5)
    assert found.levels() == direct
    again = averaged_sets(found.averages, found.sds, found.days, found.parts, found.runs, repeats=5)
    assert again == found


def test_equal_repeats_have_no_spread_whatever_the_mean_rounds_to():
    assert repeat_sets([0.1] * 6 + [0.3] * 6, [1] * 6 + [2] * 6).sds == (0.0, 0.0)


def test_rows_hold_only_the_columns_there_are():
    frame = repeat_sets(VALUE[:20], DAY[:20]).to_frame()
    assert frame.columns == ["day", "average", "sd"] and frame.height == 4
    assert repeat_sets(VALUE, DAY, PART, RUN).to_frame().columns == ["day", "part", "run", "average", "sd"]


@pytest.mark.parametrize(
    "call, said",
    [
        (lambda: repeat_sets(VALUE, DAY[:-1]), "120 readings, 119 days"),
        (lambda: repeat_sets(VALUE[:-1], DAY[:-1], PART[:-1]), "part c, day 3 has 9 readings where others"),
        (lambda: repeat_sets([1, 2, 3, 4], [1, 2, 3, 4]), "day 4 has 1 reading; two repeats"),
        (lambda: repeat_sets([1, 2, 3, 4], [1] * 4).levels(), "one day only"),
        (lambda: repeat_sets([1, 2, 3, 4], [1, 1, 2, 2], None, [1] * 4).levels(), "one run only"),
        (
            lambda: repeat_sets(range(10), [1, 1, 2, 2, 3, 3, 1, 1, 2, 2], [*"aaaaaabbbb"]).levels(),
            "part b has 2 days where others have 3",
        ),
        (
            lambda: repeat_sets(range(8), [1, 1, 2, 2] * 2, [*"aaaabbbb"], [1, 1, 1, 1, 2, 2, 2, 2]).levels(),
            "part a, run 2 has no days where others have 2",
        ),
        (lambda: averaged_sets([1, 2], [0.1] * 3, [1, 2], repeats=3), "2 averages and 3 sds"),
        (lambda: averaged_sets([1, 2], [0.1, -1], [1, 2], repeats=3), "an sd is -1"),
        (lambda: averaged_sets([1, 2], [0.1, 0.1], [1, 1], repeats=3), "day 1 has two averages"),
        (lambda: averaged_sets([1, 2], [0.1, 0.1], [1, 2], repeats=1), "number of repeats is 1"),
    ],
)
def test_faults_are_named(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()
