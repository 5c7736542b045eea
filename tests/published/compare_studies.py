"""Published capability figures, checks, gauge studies and lines held against ours."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from comparing import Item, Row, compares, data_of, half_unit, near, same
from scipy import stats

from qc import stats as qs
from qc.stats import Limits, Percentiles


@compares("D1")
def cp_interval(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Chi-square interval of Cp."""
    given, printed = item["inputs"], item["published"]
    cp = (given["USL"] - given["LSL"]) / (6 * given["s"])
    ours = [float(qs.cp_bound(cp, level, given["n"] - 1)) for level in (0.025, 0.975)]
    yield near(
        "Cp and its interval",
        [cp, *ours],
        [printed["Cp"], *printed["CI95"]],
        absolute=0.006,
        note="the book rounds Cp first",
    )
    yield near("the same, exact", ours, item["recomputed"]["CI95"], absolute=1e-9)


@compares("D2")
def cpk_interval(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Interval of Cpk by Bissell."""
    index, n = item["inputs"]["Cpk"], item["inputs"]["n"]
    ours = [float(qs.two_sided_bound(index, level, n, n - 1)) for level in (0.025, 0.975)]
    yield near("interval", ours, item["recomputed"]["CI95_Bissell"], absolute=1e-9)


@compares("D3")
def handbook_indices(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Cp, Cpk, Cpm and the fraction outside of given mean and sd, from readings that have them exactly."""
    given, theirs = item["inputs"], item["recomputed"]
    z = np.tile([-1.0, 1.0], 20) * math.sqrt(39 / 40)
    found = qs.capability(
        given["mean"] + given["s"] * z,
        lower=given["LSL"],
        upper=given["USL"],
        target=given["T"],
        sigma=given["s"],
    )
    ours = [found.cp, found.cpk, found.cpm, found.outside_ppm]
    yield near("Cp, Cpk", ours[:2], [item["published"]["Cp"], item["published"]["Cpk"]], absolute=6e-5)
    yield near("Cpk, fraction outside", [ours[1], ours[3]], [theirs["Cpk"], theirs["ppm_out"]], relative=1e-6)
    # about the target our Cpm takes n in the denominator, the handbook its given s: sqrt(s^2 + off^2)
    spread = math.sqrt(given["s"] ** 2 * 39 / 40 + (given["mean"] - given["T"]) ** 2)
    wanted = [theirs["Cpm"], (given["USL"] - given["LSL"]) / (6 * spread)]
    yield near("Cpm", min(abs(found.cpm - one) for one in wanted), 0.0, absolute=1e-9)


@compares("D7")
def bounds(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """One-sided lower bounds."""
    rows = [dict(zip(item["recomputed"]["columns"], row, strict=True)) for row in item["recomputed"]["rows"]]
    index, n = np.array([row["index"] for row in rows]), np.array([row["n"] for row in rows])
    for name, ours in (
        ("Cp_lower95", qs.cp_bound(index, 0.05, n - 1)),
        ("Cpu_exact_lower95", qs.one_sided_bound(index, 0.05, n, n - 1)),
        ("Cpk_Bissell_lower95", qs.two_sided_bound(index, 0.05, n, n - 1)),
        ("Cpu_exact_lower90", qs.one_sided_bound(index, 0.10, n, n - 1)),
    ):
        yield near(name.replace("_", " "), ours, [row[name] for row in rows], absolute=1e-6)


@compares("D8")
def cpm(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Lower bound of Cpm by Boyles."""
    ours = [float(qs.cpm_bound(c["Cpm"], 0.05, c["n"], c["xi"])) for c in item["inputs"]]
    yield near("lower bound", ours, [case["lower95"] for case in item["recomputed"]], absolute=1e-8)


SHAPES = {
    "lognormal": (stats.lognorm(0.4), Limits(0.2, 4.0)),
    "Weibull": (stats.weibull_min(1.5, scale=10), Limits(None, 40.0)),
    "half-normal": (stats.halfnorm(scale=0.01), Limits(None, 0.04)),
}


@compares("D9")
def percentiles(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Figures by percentiles of known distributions."""
    for name, theirs in item["recomputed"].items():
        shape, limits = SHAPES[name.split()[0]]
        points = [float(shape.ppf(share)) for share in (0.00135, 0.5, 0.99865)]
        yield near(
            f"{name.split()[0]} percentiles",
            points,
            [theirs["X00135"], theirs["X50"], theirs["X99865"]],
            relative=1e-8,
        )
        pp, ppk = qs.percentile_figures(Percentiles(*map(np.array, points)), limits)
        wanted = [theirs["Ppk"]] if pp is None else [theirs["Pp"], theirs["Ppk"]]
        yield near(f"{name.split()[0]} Pp, Ppk", [ppk] if pp is None else [pp, ppk], wanted, relative=1e-8)


@compares("B6")
def probe(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Three levels of a probe."""
    run, wafer, average, sd = (np.array(column) for column in list(zip(*data_of(item, {}), strict=True))[:4])
    found = qs.nested_levels(average, sd, wafer.tolist(), run.tolist(), repeats=6)
    exact, printed = item["recomputed"], item["published"]
    ours = [found.repeat_sd, found.day_sd, found.run_sd, found.days_sd, found.runs_sd]
    names = ["s1", "s2", "s3", "s_days", "s_runs"]
    yield near("levels, exact", ours, [exact[name] for name in names], relative=1e-9)
    yield near("s1, s2 printed", ours[:2], [printed["s1"], printed["s2"]], absolute=half_unit(5) * 1.02)
    yield near("s3 printed", ours[2], printed["s3"], absolute=half_unit(4))
    yield near(
        "days, runs printed",
        ours[3:],
        [printed["s_days"], printed["s_runs"]],
        absolute=2e-5,
        note="printed from rounded wafer sds",
    )
    yield same(
        "degrees of freedom",
        [found.repeat_df, found.day_df, found.run_df],
        [printed[name] for name in ("df1", "df2", "df3")],
    )


@compares("B9")
def check_standard(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Precision and bias charts of a check standard."""
    averages, sds = zip(*data_of(item, {}), strict=True)
    found = qs.check_standard(averages, sds, repeat_df=item["data"]["df_each"])
    ours = [
        found.repeat_sd,
        found.average_sd,
        found.f_point,
        found.sd_limit,
        found.center,
        found.upper,
        found.lower,
    ]
    names = ["s1", "s2", "F95", "UCL_precision", "center", "UCL", "LCL"]
    yield near("figures", ours, [item["published"][name] for name in names], absolute=6e-6)
    yield same(
        "signals",
        [list(found.sd_signals), list(found.average_signals)],
        [item["recomputed"]["precision_signals"], item["recomputed"]["bias_signals"]],
    )


@compares("B14")
def gears(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """One-way table and Bartlett's test."""
    groups = data_of(item, items)
    found, test = qs.one_way_anova(groups), qs.bartlett(groups)
    between, within, total = found.rows
    printed, exact = item["published"], item["recomputed"]
    yield near(
        "sums of squares",
        [between.ss, within.ss, total.ss],
        [printed[name] for name in ("SSB", "SSW", "SST")],
        absolute=half_unit(6),
    )
    yield near("F, p", [between.f, between.p_value], [printed["F"], printed["p"]], absolute=half_unit(4))
    yield near(
        "all, exact",
        [between.f, between.p_value, found.within_sd, found.between_variance],
        [exact[n] for n in ("F", "p", "resid_sd", "var_between_component")],
        relative=1e-8,
    )
    yield near(
        "Bartlett", test.statistic, printed["bartlett"], absolute=1e-4, note="printed 20.7858, 20.7859"
    )
    yield near("Bartlett p", test.p_value, printed["bartlett_p"], absolute=half_unit(5))


@compares("B16")
def runs(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Runs about the median."""
    found = qs.runs_test(data_of(item, items))
    yield near("Z", found.statistic, item["published"]["Z"], absolute=6e-5)
    yield near("p", found.p_value, item["published"]["p"], absolute=half_unit(6))


@compares("B17")
def beam(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Certified mean, sd and lag-1 correlation."""
    readings, printed = np.array(data_of(item, items)), item["published"]
    found = qs.lag_1_autocorrelation(readings)
    yield near("lag-1 correlation", found.lag_1, printed["r1"], relative=1e-7, note="seven digits given")
    yield near("lag-1 correlation, exact", found.lag_1, item["recomputed"]["r1"], relative=2e-12)
    chart = qs.mean_sd(readings, [str(i // 100) for i in range(200)])
    yield near("mean", chart.center, printed["mean"], relative=1e-12)


@compares("B19")
def outlier(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Grubbs' test."""
    found = qs.grubbs(data_of(item, {}), side="above")
    printed = item["published"]
    yield near(
        "statistic, critical value",
        [found.statistic, found.critical],
        [printed["G"], printed["crit_one_sided_05"]],
        absolute=6e-4,
        note="2.0317 printed as 2.032",
    )
    yield near(
        "the same, exact",
        [found.statistic, found.critical],
        [item["recomputed"]["G"], item["recomputed"]["crit"]],
        absolute=1e-8,
    )


@compares("B21")
def normality(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Anderson-Darling; the page's own thousand numbers are not to hand, its critical value is."""
    found = qs.anderson_darling(np.ravel(data_of(item, items)))
    theirs = item["recomputed"]
    yield near("statistic", found.statistic, theirs["GEAR_A2_adjusted"], absolute=1e-8)
    yield near("p", found.p_value, theirs["GEAR_p"], absolute=1e-8)


@compares("E1")
def resistivity(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Certified one-way table of data with a large offset."""
    found = qs.one_way_anova(data_of(item, {}))
    between, within, _total = found.rows
    ours = [between.ss, between.ms, within.ss, within.ms, between.f, found.r_squared, found.within_sd]
    names = ["SSB", "MSB", "SSW", "MSW", "F", "R2", "resid_sd"]
    yield near("certified figures", ours, [item["published"][name] for name in names], relative=1e-10)
    yield near(
        "between instruments",
        found.between_variance,
        item["recomputed"]["instrument_variance"],
        absolute=half_unit(12),
    )


@compares("E2", "E7")
def impedance(item: Item, items: dict[str, Item]) -> Iterator[Row]:
    """Crossed gauge study: table, components, intervals."""
    readings = np.array(data_of(item, items))
    p, o, r = readings.shape
    asked = (
        readings.ravel(),
        np.repeat(np.arange(p), o * r).tolist(),
        np.tile(np.repeat(range(o), r), p).tolist(),
    )
    found = qs.gauge_study(*asked)
    theirs = item["recomputed"]
    if "grr_var_CI_MLS" in theirs:
        yield near(
            "intervals",
            [found.intervals["repeatability"], found.intervals["gauge"]],
            [theirs["repeatability_var_CI"], theirs["grr_var_CI_MLS"]],
            relative=1e-6,
        )
        return
    printed = item["published"]
    rows = {row.source: row for row in found.anova}
    tubes, people, both, error = (rows[n] for n in ("part", "person", "person_part", "repeatability"))
    yield near(
        "table, printed",
        [tubes.ss, people.ss, both.ss, error.ss, tubes.f, people.f, both.f],
        [
            printed[n]
            for n in (
                "SS_part",
                "SS_operator",
                "SS_interaction",
                "SS_error",
                "F_part",
                "F_operator",
                "F_interaction",
            )
        ],
        absolute=0.006,
    )
    full = theirs["summary_full"]
    yield near(
        "components",
        [found.components[n] for n in ("repeatability", "gauge", "part", "total")],
        [full[n] for n in ("var_repeatability", "var_grr", "var_part", "var_total")],
        absolute=1e-8,
    )
    yield near("share of variation", 100 * found.share_of_variation, full["pct_study_var_grr"], absolute=1e-8)
    yield same("categories", found.categories, full["ndc"])
    reml = theirs["mixed_model_REML_check"]
    yield near(
        "components by REML",
        [found.components[n] for n in ("person", "part", "person_part")],
        [reml[n] for n in ("o", "p", "po")],
        relative=1e-3,
    )


@compares("E3")
def filled_form(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Average and range, with the form's rounded factors."""
    found, printed = qs.average_range(data_of(item, {})), item["published"]
    yield near(
        "averages and ranges",
        [*found.person_means, *found.person_ranges, found.mean_range, found.person_difference],
        [*printed["appraiser_means"], *printed["range_means"], printed["Rbar"], printed["Xdiff"]],
        absolute=6e-5,
    )
    yield near("part range", found.part_range, printed["Rp"], absolute=half_unit(3))
    yield near(
        "sds",
        [found.repeatability, found.person, found.gauge, found.part, found.total],
        [printed[name] for name in ("EV", "AV", "GRR", "PV", "TV")],
        absolute=6e-5,
    )
    yield same("categories", found.categories, printed["ndc"])
    yield near(
        "range limit",
        found.range_limit,
        item["recomputed"]["UCL_R"],
        relative=5e-4,
        note="form prints 0.8815 with D4 = 2.58; exact D4 2.5746",
    )


@compares("E6")
def one_person(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """One person, ranges."""
    found, exact = qs.one_person_ranges(data_of(item, {})), item["recomputed"]
    yield near(
        "gauge sd, printed",
        found.gauge_sd,
        item["published"]["sigma_gauge"],
        absolute=1e-3,
        note="book divides by 1.128 and rounds",
    )
    yield near(
        "mean, mean range, sds",
        [found.mean, found.mean_range, found.gauge_sd, found.total_sd],
        [exact[n] for n in ("xbarbar", "Rbar", "sigma_gauge", "s_total")],
        relative=5e-9,
    )
    yield near("variance of parts", found.part_variance, exact["var_product"], relative=1e-9)


@compares("F1")
def certified_line(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Certified straight line."""
    data, sure = item["data"], item["published"]
    line = qs.fit_line(data["x"], data["y"])
    trend = qs.fit_trend(data["x"], data["y"])
    ours = [
        line.intercept,
        line.slope,
        line.intercept_error,
        line.slope_error,
        line.r_squared,
        line.residual_sd**2 * line.df,
        line.f,
    ]
    names = ["b0", "b1", "se_b0", "se_b1", "R2", "SSE", "F"]
    yield near("certified figures", ours, [sure[name] for name in names], relative=1e-9)
    yield near("the trend line", [trend.intercept, trend.slope], [sure["b0"], sure["b1"]], relative=1e-9)
