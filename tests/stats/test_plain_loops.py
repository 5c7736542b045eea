"""Every column expression over many series against a plain loop over one series after the other.

Series of different lengths come with their rows shuffled into one another, as a day's upload does; the loops
below are written from the formulas, reading by reading, and share no code with what they check.
"""

import math
import statistics

import numpy as np
import polars as pl
import pytest
from scipy import stats

from qc import stats as qs
from qc.stats import Baseline, CusumDesign, EwmaDesign, Setting

LENGTHS = {"long": 40, "short": 5, "middle": 17, "two": 2}
SEEDS = range(4)


def mixed(seed, columns):
    """Rows of all series in one frame, shuffled between series but in order within each."""
    rng = np.random.default_rng(seed)
    names = rng.permutation([name for name, length in LENGTHS.items() for _ in range(length)])
    own = {name: columns(rng, length) for name, length in LENGTHS.items()}
    place = dict.fromkeys(LENGTHS, 0)
    rows = []
    for name in names.tolist():
        rows.append({"series": name, **{key: part[place[name]] for key, part in own[name].items()}})
        place[name] += 1
    return pl.DataFrame(rows), own


def readings(rng, length):
    return {"value": rng.normal(50, 2, length).round(3).tolist()}


def rows_of(table, name):
    return table.points.filter(pl.col("series") == name)


def level_of(table, name):
    return table.levels.row(by_predicate=pl.col("series") == name, named=True)


def mean(values):
    return math.fsum(values) / len(values)


def moving_ranges(values):
    return [abs(b - a) for a, b in zip(values, values[1:], strict=False)]


def individual_sigma(values):
    return mean(moving_ranges(values)) / (2 / math.sqrt(math.pi))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("first, last", [(1, None), (1, 12), (3, 14)])
def test_individuals(seed, first, last):
    frame, own = mixed(seed, readings)
    table = qs.individuals_table(frame, Setting(baseline=Baseline(first, last)))
    for name, columns in own.items():
        values = columns["value"]
        base = values[first - 1 : last]
        assert rows_of(table, name)["value"].to_list() == values
        level = level_of(table, name)
        if len(base) < 2:
            assert level["reason"].startswith("the baseline holds")
            continue
        sigma = individual_sigma(base)
        assert level["center"] == pytest.approx(mean(base), rel=1e-13)
        assert level["sigma"] == pytest.approx(sigma, rel=1e-12)
        assert level["upper"] == pytest.approx(mean(base) + 3 * sigma, rel=1e-12)
        ranges = rows_of(table, name)["companion"].to_list()
        assert ranges[0] is None or math.isnan(ranges[0])
        assert ranges[1:] == pytest.approx(moving_ranges(values), rel=1e-12, abs=1e-12)
        d3_over_d2 = math.sqrt(math.pi / 2 - 1)
        assert level["companion_upper"] == pytest.approx(mean(moving_ranges(base)) * (1 + 3 * d3_over_d2))


def trays(rng, length):
    """Trays of one to four readings; a tray's rows stand together."""
    tray, columns = 0, {"value": [], "subgroup": []}
    while len(columns["value"]) < length:
        for _ in range(int(rng.integers(1, 5))):
            if len(columns["value"]) < length:
                columns["value"].append(round(float(rng.normal(50, 2)), 3))
                columns["subgroup"].append(tray)
        tray += 1
    return columns


def grouped(columns):
    groups = {}
    for value, tray in zip(columns["value"], columns["subgroup"], strict=True):
        groups.setdefault(tray, []).append(value)
    return list(groups.values())


def subgroup_sigma(groups, spread):
    """Estimates of sigma from each subgroup, weighted by their precision (Burr 1969)."""
    top = bottom = 0.0
    for group in groups:
        if len(group) < 2:
            continue
        f = qs.factors(len(group))
        unit, unit_sd = (f.d2, f.d3) if spread == "range" else (f.c4, f.c5)
        found = max(group) - min(group) if spread == "range" else statistics.stdev(group)
        weight = (unit / unit_sd) ** 2
        top, bottom = top + weight * found / unit, bottom + weight
    return top / bottom if bottom else None


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("spread", ["range", "sd"])
def test_subgroups(seed, spread):
    frame, own = mixed(seed, trays)
    table = qs.subgroup_table(frame, spread=spread)
    for name, columns in own.items():
        groups = grouped(columns)
        level, points = level_of(table, name), rows_of(table, name)
        assert points["value"].to_list() == pytest.approx([mean(group) for group in groups], rel=1e-13)
        sigma = subgroup_sigma(groups, spread)
        if level["reason"] is not None:
            assert sigma is None or sigma < 1e-9 or sum(len(g) - 1 for g in groups) < 1 or len(groups) < 2
            continue
        assert level["sigma"] == pytest.approx(sigma, rel=1e-11)
        center = mean(columns["value"])
        for group, lower, upper, found in zip(
            groups, points["lower"], points["upper"], points["companion"], strict=True
        ):
            reach = 3 * sigma / math.sqrt(len(group))
            assert (lower, upper) == pytest.approx((center - reach, center + reach), rel=1e-11)
            if len(group) > 1:
                wanted = max(group) - min(group) if spread == "range" else statistics.stdev(group)
                assert found == pytest.approx(wanted, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("fast", [False, True])
def test_cusum(seed, fast):
    frame, own = mixed(seed, readings)
    design = CusumDesign(0.4, 4.0, fast)
    table = qs.cusum_table(frame, design=design)
    for name, columns in own.items():
        values = columns["value"]
        center, sigma = mean(values), individual_sigma(values)
        high = low = 2.0 if fast else 0.0
        points = rows_of(table, name)
        for value, up, down in zip(values, points["high"], points["low"], strict=True):
            z = (value - center) / sigma
            high, low = max(0.0, high + z - 0.4), max(0.0, low - z - 0.4)
            assert (up, down) == pytest.approx((high, low), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("varying", [False, True])
def test_ewma(seed, varying):
    frame, own = mixed(seed, readings)
    table = qs.ewma_table(frame, design=EwmaDesign(0.3, 2.7, varying))
    for name, columns in own.items():
        values = columns["value"]
        center, sigma = mean(values), individual_sigma(values)
        level, points = center, rows_of(table, name)
        upper = points["upper"] if varying else None
        for i, (value, smoothed) in enumerate(zip(values, points["value"], strict=True)):
            level = 0.3 * value + 0.7 * level
            assert smoothed == pytest.approx(level, rel=1e-12)
            share = 0.3 / 1.7 * (1 - 0.7 ** (2 * (i + 1)) if varying else 1.0)
            limit = upper[i] if varying else level_of(table, name)["upper"]
            assert limit == pytest.approx(center + 2.7 * sigma * math.sqrt(share), rel=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_self_starting(seed):
    frame, own = mixed(seed, readings)
    table = qs.self_starting_table(frame)
    for name, columns in own.items():
        for r, q in enumerate(rows_of(table, name)["value"].to_list(), start=1):
            before, value = columns["value"][: r - 1], columns["value"][r - 1]
            if r < 3:
                assert q is None
                continue
            t = math.sqrt((r - 1) / r) * (value - mean(before)) / statistics.stdev(before)
            assert q == pytest.approx(stats.norm.ppf(stats.t.cdf(t, r - 2)), rel=1e-7, abs=1e-9)


def counted(rng, length):
    size = rng.integers(20, 60, length)
    return {"value": rng.binomial(size, 0.2).astype(float).tolist(), "size": size.astype(float).tolist()}


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", ["defects", "defects-per-unit", "number-defective", "proportion"])
@pytest.mark.parametrize("how", ["plain", "exact", "corrected"])
def test_counts(seed, kind, how):
    frame, own = mixed(seed, counted)
    if kind == "number-defective":
        frame = frame.with_columns(size=pl.lit(60.0))
        own = {name: columns | {"size": [60.0] * len(columns["size"])} for name, columns in own.items()}
    table = qs.count_table(frame, kind, exact=how == "exact", corrected=how == "corrected")
    for name, columns in own.items():
        counts = columns["value"]
        sizes = [1.0] * len(counts) if kind == "defects" else columns["size"]
        rate = sum(counts) / sum(sizes)
        points, level = rows_of(table, name), level_of(table, name)
        if level["reason"] is not None:
            assert how == "corrected" and len(counts) == 2 and "corrected limits need" in level["reason"]
            continue
        shown, z = [], []
        for count, size in zip(counts, sizes, strict=True):
            total = kind in ("defects", "number-defective")
            share = rate * (1 - rate) if kind in ("proportion", "number-defective") else rate
            sd = math.sqrt(share * size if total else share / size)
            center = rate * size if total else rate
            shown.append((count if total else count / size, center, sd, size))
            z.append((shown[-1][0] - center) / sd)
        widen = mean(moving_ranges(z)) / (2 / math.sqrt(math.pi)) if how == "corrected" else 1.0
        for (value, center, sd, size), found, low, high in zip(
            shown,
            points["value"],
            table_column(table, name, "lower"),
            table_column(table, name, "upper"),
            strict=True,
        ):
            assert found == pytest.approx(value)
            if how == "exact":
                model = stats.poisson(rate * size)
                if kind in ("proportion", "number-defective"):
                    model = stats.binom(int(size), rate)
                unit = 1.0 if kind in ("defects", "number-defective") else size
                tail = qs.THREE_SIGMA_RATE / 2
                wanted = model.ppf(tail) / unit, model.ppf(1 - tail) / unit
            else:
                top = math.inf
                if kind in ("proportion", "number-defective"):
                    top = size if kind == "number-defective" else 1.0
                wanted = max(0.0, center - 3 * widen * sd), min(top, center + 3 * widen * sd)
            assert (low, high) == pytest.approx(wanted, rel=1e-9, abs=1e-12)


def table_column(table, name, column):
    chosen = (table.points["series"] == name).arg_true()
    return table.column(column)[chosen].to_list()


def spots(rng, length):
    """Pieces of three spots each with a pattern that all pieces share."""
    pieces = -(-length // 3)
    piece = np.repeat(np.arange(pieces), 3)[:length]
    spot = np.tile(np.arange(3), pieces)[:length]
    value = rng.normal(0, 1, pieces)[piece] + np.array([0.5, 0.0, -0.5])[spot] + rng.normal(0, 0.2, length)
    return {
        "value": value.round(3).tolist(),
        "subgroup": piece.tolist(),
        "place": [f"spot {one}" for one in spot],
    }


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("within", ["range", "sd"])
def test_three_way(seed, within):
    """Pattern out by least squares on indicator columns, then means as individuals."""
    frame, own = mixed(seed, spots)
    table = qs.three_way_table(frame, within=within)
    for name, columns in own.items():
        level = level_of(table, name)
        if level["reason"] is not None:
            assert len(set(columns["subgroup"])) < 3
            continue
        values, pieces = np.array(columns["value"]), np.array(columns["subgroup"])
        names, place = np.unique(columns["place"], return_inverse=True)
        kept = np.array([np.sum(pieces == one) >= len(names) / 2 for one in pieces])
        design = np.hstack([np.eye(pieces.max() + 1)[pieces], np.eye(len(names))[place]])
        effects = np.linalg.lstsq(design[kept], values[kept], rcond=None)[0][-len(names) :]
        effects -= effects.mean()
        clean = (values - effects[place])[kept]
        groups = [clean[pieces[kept] == one].tolist() for one in dict.fromkeys(pieces[kept].tolist())]
        means = [mean(group) for group in groups]
        assert rows_of(table, name)["value"].to_list() == pytest.approx(means, abs=1e-9)
        sigma = individual_sigma(means)
        assert level["sigma"] == pytest.approx(sigma, rel=1e-9)
        extras = table.extras[name]
        assert list(extras["pattern"].values()) == pytest.approx(effects, abs=1e-9)
        inner = subgroup_sigma(groups, within)
        assert extras["sd"]["within"] == pytest.approx(inner, rel=1e-9)
        between = sigma**2 - inner**2 * mean([1 / len(group) for group in groups])
        assert extras["components"]["between"] == pytest.approx(max(between, 0.0), rel=1e-8, abs=1e-12)


def waits(rng, length):
    return {"value": np.ceil(rng.exponential(30, length)).tolist()}


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("units", [False, True])
def test_time_between(seed, units):
    frame, own = mixed(seed, waits)
    table = qs.time_between_table(frame, units=units)
    tail = qs.THREE_SIGMA_RATE / 2
    for name, columns in own.items():
        level, center = level_of(table, name), mean(columns["value"])
        assert level["center"] == pytest.approx(center)
        if not units:
            model = stats.expon(scale=center)
            assert (level["lower"], level["upper"]) == pytest.approx((model.ppf(tail), model.ppf(1 - tail)))
            continue
        # good units before a faulty one: a signal when so few, or so many, come at half the rate
        stay = center / (1 + center)
        lower = next(k for k in range(10_000) if 1 - stay ** (k + 1) > tail)
        upper = next(k for k in range(10_000) if stay ** (k + 1) <= tail)
        assert (level["lower"], level["upper"]) == (lower, upper)


@pytest.mark.parametrize("seed", SEEDS)
def test_capability_columns(seed):
    rng = np.random.default_rng(seed)
    names = [f"s{i}" for i in range(30)]
    samples = {name: rng.normal(10, rng.uniform(0.2, 1.5), rng.integers(2, 60)) for name in names}
    levels = pl.DataFrame(
        {
            "series": names,
            "n": [len(part) for part in samples.values()],
            "mean": [float(np.mean(part)) for part in samples.values()],
            "sd": [float(np.std(part, ddof=1)) for part in samples.values()],
        }
    )
    found = qs.capability_columns(levels, lower=8.0, upper=12.5)
    for row in found.iter_rows(named=True):
        alone = qs.capability(samples[row["series"]], lower=8.0, upper=12.5)
        assert row["capable"] == alone.capable
        if alone.reason is not None:
            assert row["ppk"] is None
            continue
        part = samples[row["series"]]
        m, s = mean(part.tolist()), statistics.stdev(part.tolist())
        ppk = min(12.5 - m, m - 8.0) / (3 * s)
        reach = stats.norm.ppf(0.975) * math.sqrt(1 / (9 * len(part)) + ppk**2 / (2 * (len(part) - 1)))
        assert row["ppk"] == pytest.approx(ppk, rel=1e-11)
        assert (row["ppk_low"], row["ppk_high"]) == pytest.approx((ppk - reach, ppk + reach), rel=1e-9)
        outside = stats.norm.cdf(8.0, m, s) + stats.norm.sf(12.5, m, s)
        assert row["outside_ppm"] == pytest.approx(1e6 * outside, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_charts_taken_from_a_table_are_those_of_each_series_alone(seed):
    frame, own = mixed(seed, readings)
    charts = qs.individuals_table(frame).charts()
    assert list(charts) == list(dict.fromkeys(frame["series"]))
    for name, columns in own.items():
        alone = qs.individuals(columns["value"])
        for figure in ("center", "lower", "upper", "sigma"):
            assert getattr(charts[name], figure) == pytest.approx(getattr(alone, figure), rel=1e-13)
        np.testing.assert_array_equal(charts[name].values, alone.values)
        np.testing.assert_array_equal(charts[name].companion.values, alone.companion.values)


@pytest.mark.parametrize("seed", SEEDS)
def test_detection_of_many_series_is_that_of_each_alone(seed):
    rng = np.random.default_rng(seed)
    series = [rng.normal(size=n) + 4.0 * (np.arange(n) >= n // 2) for n in LENGTHS.values()]
    found = qs.detect_many(series)
    alone = [qs.detect(part) for part in series]
    assert [one.signals for one in found] == [one.signals for one in alone]
    assert [one.stretches for one in found] == [one.stretches for one in alone]
    assert any(one.signals for one in alone)
