"""Published charts and constants held against ours."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import polars as pl
from comparing import Item, Row, compares, data_of, half_unit, near, same

from qc import stats as qs
from qc.stats import CusumDesign, EwmaDesign, LimitRule, Setting

OUR_NAMES = {"d4_median_range": "median_range"}


def signal_points(chart: qs.Chart) -> list[int]:
    """Points beyond the limits of a chart."""
    low = chart.lower if chart.lowers is None else chart.lowers
    high = chart.upper if chart.uppers is None else chart.uppers
    values = np.asarray(chart.values)
    return [int(point) + 1 for point in np.flatnonzero((values > high) | (values < low))]


@compares("A1")
def constants(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Every constant of every sample size from its definition."""
    rows = item["recomputed"]
    names = [name for name in next(iter(rows.values())) if name != "n"]
    ours = [[getattr(qs.factors(int(n)), OUR_NAMES.get(name, name)) for name in names] for n in rows]
    yield near("all constants", ours, [[row[name] for name in names] for row in rows.values()], absolute=1e-6)


@compares("A2", "A4")
def printed_constants(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Printed tables: half a unit of the last digit; known misprints at the exact value."""
    found = item["recomputed"]
    listed = found.get(
        "misprints", found.get("printed_values_that_differ_from_exact_by_more_than_half_a_unit")
    )
    wrong = {(entry["n"], entry["const"]): (entry["printed"], entry["exact"]) for entry in listed}
    right: dict[int, list[tuple[float, float]]] = {3: [], 4: []}
    corrected: list[tuple[float, float]] = []
    for n, row in item["published"].items():
        for name, value in {**row, **row.get("extra", {})}.items():
            if name == "extra":
                continue
            ours = getattr(qs.factors(int(n)), name)
            printed, exact = wrong.get((int(n), name), (None, None))
            if printed == value:
                corrected.append((ours, exact))
            else:
                right[4 if name == "c4" else 3].append((ours, value))
    for digits, pairs in right.items():
        if pairs:
            ours_, theirs = zip(*pairs, strict=True)
            yield near(f"printed to {digits} decimals", ours_, theirs, absolute=half_unit(digits))
    ours_, theirs = zip(*corrected, strict=True)
    yield near(
        "known misprints, exact value", ours_, theirs, absolute=1e-6, note=f"{len(corrected)} misprints"
    )


@compares("B1")
def flow_rate(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Individuals with moving range; the handbook divides by the rounded 1.128."""
    chart = qs.individuals(data_of(item, items))
    theirs, exact = item["published"], item["recomputed"]
    yield near(
        "centre, mean moving range",
        [chart.center, chart.companion.center],
        [theirs["center"], theirs["MRbar"]],
        absolute=half_unit(4),
    )
    yield near(
        "limits, exact d2",
        [chart.lower, chart.upper],
        [exact["LCL_exact_d2"], exact["UCL_exact_d2"]],
        absolute=1e-6,
    )
    rounded = [chart.center + side * (chart.upper - chart.center) * qs.d2(2) / 1.128 for side in (-1, 1)]
    yield near("limits, divisor 1.128", rounded, [theirs["LCL"], theirs["UCL"]], absolute=half_unit(4))
    yield same("points outside", signal_points(chart), theirs["out_of_control"])


@compares("B2")
def handbook_cusum(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Tabular CUSUM in units of the readings."""
    given = item["inputs"]
    sigma = given["sigma_xbar"]
    design = CusumDesign(given["k"] / sigma, given["h"] / sigma)
    chart = qs.cusum(data_of(item, items), Setting(center=given["target"], sigma=sigma), design)
    high, low = (chart.values[side] * sigma for side in ("high", "low"))
    yield near(
        "upper and lower sums",
        [high, low],
        [item["recomputed"]["S_hi"], item["recomputed"]["S_lo"]],
        absolute=1e-9,
    )
    first = int(np.flatnonzero(high > given["h"])[0]) + 1
    yield same("first signal", first, item["published"]["first_signal_index"])
    yield near(
        "upper sum 13",
        high[12],
        item["published"]["S_hi_13"],
        absolute=half_unit(4),
        note="printed h = 4.1959 leaves beta out; 4.1895 with it",
    )


@compares("B30")
def purity_cusum(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Tabular CUSUM of an exercise."""
    given, theirs = item["inputs"], item["recomputed"]
    sigma = given["sigma"]
    design = CusumDesign(given["K"] / sigma, given["H"] / sigma)
    chart = qs.cusum(data_of(item, items), Setting(center=given["target"], sigma=sigma), design)
    high, low = (chart.values[side] * sigma for side in ("high", "low"))
    yield near("upper and lower sums", [high, low], [theirs["S_H"], theirs["S_L"]], absolute=1e-9)
    yield same(
        "signals",
        [int(p) + 1 for p in np.flatnonzero((high > given["H"]) | (low > given["H"]))],
        theirs["signals"],
    )


@compares("B3")
def handbook_ewma(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """EWMA with fixed limits."""
    given, theirs = item["inputs"], item["published"]
    setting = Setting(center=given["ewma0"], sigma=given["s"])
    design = EwmaDesign(given["lam"], given["k"])
    chart = qs.ewma(data_of(item, items), setting, design)
    yield near("smoothed values", chart.values, theirs["EWMA"][1:], absolute=5e-3 * (1 + 1e-9))
    yield near(
        "limits",
        [chart.upper, chart.lower],
        [theirs["UCL"], theirs["LCL"]],
        absolute=1e-4,
        note="printed lower limit is cut, not rounded",
    )
    yield near(
        "limits, exact",
        [chart.upper, chart.lower],
        [item["recomputed"]["UCL"], item["recomputed"]["LCL"]],
        absolute=1e-5,
    )
    yield same("points outside", signal_points(chart), theirs["signals"])


@compares("B4")
def wafers(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Defects on 25 wafers; a point on the limit is inside."""
    counts, theirs = data_of(item, items), item["published"]
    chart = qs.count_chart(counts)
    yield near(
        "centre and limits",
        [chart.center, chart.upper, chart.lower],
        [theirs["cbar"], theirs["UCL"], theirs["LCL"]],
        absolute=1e-9,
    )
    yield same("points outside", signal_points(chart), theirs["signals"])
    exact = qs.count_chart(counts, exact=True)
    both = [item["recomputed"]["exact_poisson_lower_00135"], item["recomputed"]["exact_poisson_upper_999"]]
    yield same("exact limits", [exact.lower, exact.upper], [float(one) for one in both])


@compares("B10")
def calibration_chart(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Control values of a linear calibration: their sd and which lie outside the handbook's limits."""
    rows = np.array([row[-2:] for row in data_of(item, items)], dtype=float)
    given, theirs = item["inputs"], item["recomputed"]
    reference, measured = (rows[:, 0], rows[:, 1])
    values = (measured - given["intercept"]) / given["slope"] - reference
    if abs(np.max(np.abs(values)) - np.max(np.abs(theirs["control_values"]))) > 0.01:
        values = (reference - given["intercept"]) / given["slope"] - measured
    chart = qs.individuals(values, Setting(center=0.0, sigma=theirs["half_width"] / 3))
    yield near("control values", values, theirs["control_values"], absolute=1e-9)
    yield near(
        "sd of the control values",
        np.std(values, ddof=1),
        item["published"]["sd_of_control_values"],
        absolute=5e-7,
        note="about twice the calibration's own sd",
    )
    yield same("points outside", signal_points(chart), theirs["signals"])


@compares("B27")
def vane_openings(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Mean, range and sd charts, then without five subgroups; the book rounds A2 and D4."""
    rows = np.array(data_of(item, items))
    trays = np.repeat(np.arange(len(rows)), rows.shape[1])
    printed, exact = item["published"], item["recomputed"]
    by_range, by_sd = qs.mean_range(rows.ravel(), trays), qs.mean_sd(rows.ravel(), trays)
    names = ["xbarbar", "Rbar", "UCL", "LCL", "UCL_R", "sbar", "UCL_S"]

    def figures(chart: qs.Chart) -> list[float | None]:
        return [chart.center, chart.companion.center, chart.upper, chart.lower, chart.companion.upper]

    ours = [*figures(by_range), by_sd.companion.center, by_sd.companion.upper]
    yield near(
        "centres and limits",
        ours,
        [printed[name] for name in names],
        absolute=0.01,
        note="book: A2 = .577, D4 = 2.115",
    )
    yield near("the same, exact factors", ours[:6], [exact[name] for name in names[:6]], absolute=1e-3)
    kept = ~np.isin(np.arange(1, len(rows) + 1), item["inputs"]["deleted_subgroups"])
    again = qs.mean_range(rows[kept].ravel(), trays[: kept.sum() * rows.shape[1]])
    yield near("revised", figures(again), [printed["revised"][name] for name in names[:5]], absolute=0.006)
    yield same("points outside", signal_points(by_range), exact["xbar_signals"])


@compares("F2", "gear")
def three_way_gears(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Between and within batches of gears; the batches' data alone have no expected figures."""
    if "recomputed" not in item:
        yield same("rows of data", len(item["rows"]), 10, "data of F2")
        return
    rows = np.array(data_of(items.get("gear") or items["B14"], items))
    trays, theirs = np.repeat(np.arange(len(rows)), rows.shape[1]), item["recomputed"]
    for within, mean, limits in (("range", "Rbar", "R_limits"), ("sd", "Sbar", "S_limits")):
        chart = qs.three_way(rows.ravel(), trays, within=within)
        inner = chart.extras["within"]
        yield near(
            f"within pieces by {within}",
            [inner["center"], inner["lower"], inner["upper"]],
            [theirs[mean], *theirs[limits]],
            absolute=1e-8,
        )
    chart = qs.three_way(rows.ravel(), trays)
    yield near(
        "three-way limits",
        [chart.center, chart.companion.center, chart.lower, chart.upper],
        [theirs["xbarbar"], theirs["MRbar_of_means"], *theirs["three_way_limits"]],
        absolute=1e-8,
    )
    yield near(
        "sigmas",
        [chart.sigma, chart.extras["sd"]["within"], chart.extras["sd"]["between"]],
        [theirs["sigma_xbar_from_MR"], theirs["sigma_within_R"], theirs["sigma_between"]],
        absolute=1e-8,
    )
    yield same("points outside", signal_points(chart), theirs["three_way_signals"])
    means = qs.mean_range(rows.ravel(), trays)
    yield same(
        "points outside the limits of the within chart", signal_points(means), theirs["within_xbar_R_signals"]
    )


@compares("C12")
def q_statistics(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Q statistics and the self-starting CUSUM."""
    chart = qs.self_starting(data_of(item, items))
    theirs = item["recomputed"]
    yield near("Q", chart.values, theirs["Q"], absolute=1e-8)
    sums = chart.companion.values
    yield near(
        "cusum", [sums["high"], sums["low"]], [theirs["cusum_plus"], theirs["cusum_minus"]], absolute=1e-8
    )


def _six(values: str) -> list[float]:
    return [float(one) for one in values.split(",")]


def _trays(inputs: str) -> tuple[list[float], list[int]]:
    groups = [part.split("]")[0] for part in inputs.split("[")[1:]]
    return _six(",".join(groups)), [tray for tray, group in enumerate(groups) for _ in group.split(",")]


@compares(*(f"T{number:03d}" for number in (81, 82, 83, 84, 85, 93, 94, 95, 96, 97, 98, 99, 107, 108, 109)))
def worked(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Worked figures of the trade, each with its own tolerance."""
    inputs, known = item["inputs"], Setting(center=0.0, sigma=1.0)
    answers = {
        "T081": lambda: qs.individuals(_six(inputs)).companion.center,
        "T082": lambda: qs.individuals(_six(inputs)).upper,
        "T083": lambda: qs.individuals(_six(inputs)).lower,
        "T084": lambda: qs.individuals(_six(inputs)).companion.upper,
        "T085": lambda: LimitRule("prediction").factor(5, 4),
        "T093": lambda: qs.q_statistics(_six(inputs))[2],
        "T094": lambda: qs.q_statistics(_six(inputs))[7],
        "T095": lambda: (lambda c: c.upper - c.center)(qs.three_way(*_trays(inputs))),
        "T096": lambda: (lambda c: c.upper - c.center)(qs.mean_range(*_trays(inputs))),
        "T097": lambda: qs.ewma(_six(inputs), known).values[-1],
        "T098": lambda: qs.ewma([0.1] * 6, known, EwmaDesign(0.2, 2.86, True)).uppers[5],
        "T099": lambda: qs.cusum(_six(inputs), known).values["high"][-1],
        "T107": lambda: qs.phase_two_limit(3, 30, 0.005),
        "T108": lambda: qs.d2(4),
        "T109": lambda: qs.c4(3),
    }
    yield near(
        item["quantity"][:44],
        answers[item["id"]](),
        float(item["expected"]),
        absolute=float(item["tolerance"]),
    )


@compares("changepoint_nile", "F4")
def nile(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """One change of mean in the Nile's flow."""
    data = item.get("data", item)
    found, theirs = qs.mean_change(data["volume"]), item["recomputed"]
    yield same(
        "last year before", data["years"][0] + found.last_before - 1, item["published"]["last_year_before"]
    )
    yield near(
        "means, largest t",
        [found.mean_before, found.mean_after, abs(found.statistic)],
        [theirs["mean_before"], theirs["mean_after"], theirs["max_abs_t"]],
        relative=1e-9,
    )


@compares("changepoint_coal")
def coal(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """British coal-mining disasters: the year the rate fell."""
    signal = qs.detect_counts(item["counts"]).signals[0]
    yield near(
        "last year before",
        item["first_year"] + signal.start - 2,
        item["published"]["last_year_before"],
        absolute=1.0,
    )


@compares("changepoint_target")
def known_target(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Change after 100 readings, found once a three-sigma limit is crossed; ours simulated anew."""
    for name, figure in item["figures"].items():
        yield change_from_target(name, figure)


def change_from_target(name: str, figure: Item, count: int = 1200) -> Row:
    """Mean estimate of the last reading before the change, over so many runs of our own."""
    delta = float(name.split("delta=")[1].split()[0])
    rng, found = np.random.default_rng(20240501), []
    while len(found) < count:
        before = rng.normal(size=100)
        if np.any(np.abs(before) > 3):  # a false signal before the change starts the count anew
            continue
        after = rng.normal(delta, 1, size=3000)
        stop = int(np.argmax(np.abs(after) > 3)) + 1
        found.append(qs.mean_change_from_target(np.concatenate([before, after[:stop]]), 0.0).last_before)
    error = math.hypot(float(np.std(found, ddof=1)) / math.sqrt(count), figure["se"])
    return near(f"mean split, shift {delta:g}", float(np.mean(found)), figure["estimate"], errors=error)


def q_chart(names: dict[str, Item], count: int = 4000) -> Iterator[Row]:
    """Chance that a shift after c readings shows within 30, by Q statistics of many series at once."""
    for name, figure in names.items():
        before = int(name.split("c=")[1].split()[0])
        delta = float(name.split("delta=")[1])
        rng = np.random.default_rng(before)
        readings = rng.normal(size=(count, before + 30))
        readings[:, before:] += delta
        frame = pl.DataFrame({"series": np.repeat(np.arange(count), before + 30), "value": readings.ravel()})
        q = qs.self_starting_table(frame).points["value"].fill_null(0.0).to_numpy().reshape(count, -1)
        share = float(np.mean(np.any(np.abs(q[:, before:]) > 3, axis=1)))
        error = math.hypot(math.sqrt(share * (1 - share) / count), figure["se"])
        yield near(f"Q chart, shift {delta:g} after {before}", share, figure["estimate"], errors=error)
