"""Published run lengths, designs, limit factors and the effect of estimated limits held against ours."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

import numpy as np
import polars as pl
from compare_charts import change_from_target, q_chart
from comparing import Item, Row, compares, half_unit, near

from qc import stats as qs
from qc.stats import ZoneRule


def columns(item: Item) -> dict[str, list]:
    """Columns of a table of computed values by name."""
    table = item["recomputed"]
    return dict(zip(table["columns"], map(list, zip(*table["rows"], strict=True)), strict=True))


@compares("C1")
def shewhart(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Charts without memory."""
    table = columns(item)
    found = [
        qs.shewhart_run_length(3.0, shift, n=int(n))
        for n, shift in zip(table["n"], table["shift_sigma"], strict=True)
    ]
    yield near("average", [one.mean for one in found], table["ARL"], absolute=1e-6)
    yield near("sd", [one.sd for one in found], table["SDRL"], absolute=1e-6)


def _both(hits: int, span: int, edge: float) -> list[ZoneRule]:
    return [ZoneRule(hits, span, ((edge, math.inf),)), ZoneRule(hits, span, ((-math.inf, -edge),))]


CHAMP_WOODALL = {  # their numbering; 5 and 9 as the shared table defines them
    "1": _both(1, 1, 3.0),
    "2": _both(2, 3, 2.0),
    "3": _both(4, 5, 1.0),
    "4": _both(8, 8, 0.0),
    "5": _both(2, 2, 2.0),
    "9": _both(9, 9, 0.0),
}


def _zones(name: object) -> list[ZoneRule]:
    return [rule for part in str(name).removesuffix(".0").split("+") for rule in CHAMP_WOODALL[part]]


@compares("C2")
def combinations(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Rules together, by Markov chain."""
    table = columns(item)
    known = [
        i
        for i, name in enumerate(table["rules"])
        if set(str(name).removesuffix(".0").split("+")) <= set(CHAMP_WOODALL)
    ]
    found = [qs.rule_run_length(_zones(table["rules"][i]), table["shift"][i]) for i in known]
    yield near("average", [one.mean for one in found], [table["ARL"][i] for i in known], relative=1e-5)
    yield near("sd", [one.sd for one in found], [table["SDRL"][i] for i in known], relative=1e-5)
    printed = item["published"]
    ours = [qs.rule_run_length(_zones(name)).mean for name in printed]
    yield near("printed, in control", ours, list(printed.values()), absolute=half_unit(2))


SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4)


@compares("C3")
def ewma(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """EWMA with fixed limits."""
    table = columns(item)
    found = [
        qs.ewma_run_length(weight, width, shift)
        for weight, width, shift in zip(table["lambda"], table["L"], table["shift_sigma"], strict=True)
    ]
    yield near("average", [one.mean for one in found], table["ARL"], relative=1e-4)
    yield near("sd", [one.sd for one in found], table["SDRL"], relative=1e-4)
    for name, printed in item["published"].items():
        weight, width = map(float, name.split("|"))
        ours = [qs.ewma_run_length(weight, width, shift).mean for shift in SHIFTS]
        note = "exact 15.85 printed 15.9" if weight == 0.1 else "exact 18.15 printed 18.2"
        yield _printed(f"printed, weight {weight:g}", ours, printed, note)


def _printed(quantity: str, ours: list[float], printed: list[float], note: str = "") -> Row:
    """Hold figures against printed ones in half units of their own last digit (1 = half a unit)."""
    units = [0.5 * 10.0 ** -_decimals(value) for value in printed]
    scaled = [abs(a - b) / unit for a, b, unit in zip(ours, printed, units, strict=True)]
    return near(quantity + " (half units)", scaled, [0.0] * len(scaled), absolute=1.1, note=note)


def _decimals(value: float) -> int:
    text = f"{value}"
    return len(text.split(".")[1].rstrip("0")) or 1 if "." in text else 0


@compares("C4")
def ewma_design(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Width for a wanted run length."""
    table = columns(item)
    ours = [qs.ewma_width(w, wanted) for w, wanted in zip(table["lambda"], table["ARL0"], strict=True)]
    yield near("width", ours, table["L"], absolute=1e-5)


@compares("C5")
def cusum(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """CUSUM, one and two sides, plain and with a head start."""
    table = columns(item)
    designs = list(zip(table["k"], table["h"], table["shift_sigma"], strict=True))
    for name, sides, share in (
        ("ARL_upper", 1, 0.0),
        ("ARL_two_sided", 2, 0.0),
        ("ARL_two_sided_FIR_h_over_2", 2, 0.5),
        ("ARL_one_sided_FIR", 1, 0.5),
    ):
        ours = [qs.cusum_run_length(k, h, s, sides=sides, head_start=h * share).mean for k, h, s in designs]
        yield near(name.replace("_", " "), ours, table[name], relative=1e-4)
    for name, share in (("h5", 0.0), ("FIR_h5_memory", 2.5)):
        ours = [qs.cusum_run_length(0.5, 5.0, shift, head_start=share).mean for shift in SHIFTS]
        yield _printed(
            f"printed {name}", ours, item["published"][name], "exact 139.49" if name == "h5" else ""
        )


@compares("C6")
def cusum_design(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Decision interval for a wanted run length."""
    table = columns(item)
    ours = [
        qs.cusum_decision(k, wanted) for k, wanted in zip(table["k"], table["two_sided_ARL0"], strict=True)
    ]
    yield near("decision interval", ours, table["h"], absolute=1e-5)


@compares("C8")
def estimated(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Limits from an estimated centre and sigma."""
    rows = [dict(zip(item["recomputed"]["columns"], row, strict=True)) for row in item["recomputed"]["rows"]]
    pairs: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for row in rows:
        n, m = int(row["n"]), int(row["m"])
        found = qs.estimated_limits(
            m, n=n, factor=row["L"], shift=row["shift_in_xbar_sd"],
            estimator="sd-unbiased" if "c4" in row["sigma_estimator"] else "sd",
        )  # fmt: skip
        pairs["AARL"].append((found.average_run_length, row["AARL"]))
        pairs["unconditional_FAR"].append((found.signal_rate, row["unconditional_FAR"]))
        df = m - 1 if n == 1 else m * (n - 1)
        if df > 40:  # few degrees of freedom: the item itself calls the far tail out of its reach
            pairs["SDARL"].append((found.sd_between_baselines, row["SDARL"]))
            pairs["SDRL"].append((found.sd_run_length, row["unconditional_SDRL"]))
    for name, tolerance in (("AARL", 1e-4), ("SDARL", 0.05), ("SDRL", 0.05)):
        ours, theirs = zip(*pairs[name], strict=True)
        yield near(name, ours, theirs, relative=tolerance)
    ours, theirs = zip(*pairs["unconditional_FAR"], strict=True)
    yield near("unconditional rate", ours, theirs, absolute=1e-6)


@compares("C9")
def adjusted(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Guaranteed factor: the tolerance factor."""
    table = columns(item)
    ours = []
    for n, m, wanted, sure in zip(table["n"], table["m"], table["ARL0"], table["confidence"], strict=True):
        df = m - 1 if n == 1 else m * (n - 1)
        ours.append(qs.guaranteed_factor(m, 1 / wanted, sure, df=df))
    yield near("factor on the pooled sd", ours, table["L_on_Sp"], absolute=1e-5)


NELSON = {  # numbers as in the item's notes; the lengths are its own
    "1": "beyond-limit", "2": "same-side(9)", "3": "steady-climb(6)", "3b": "steady-climb(7)",
    "4": "zigzag(14)", "5": "two-of-three-outer", "6": "four-of-five-middle", "7": "hugging-center(15)",
    "8": "avoiding-center(8)",
}  # fmt: skip


@compares("C10")
def simulated(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Simulated figures with their standard errors."""
    if isinstance(item["recomputed"], list):
        for one in item["recomputed"]:
            found = qs.rule_run_length(",".join(one["rules"]), one["shift"]).mean
            yield near("+".join(one["rules"])[:44], found, one["estimate"], errors=one["se"])
        return
    q_names = {name: figure for name, figure in item["recomputed"].items() if name.startswith("Q chart")}
    yield from q_chart(q_names)
    for name, figure in item["recomputed"].items():
        if name not in q_names:
            yield from _one_simulated(name, figure)


def _one_simulated(name: str, figure: Item) -> Iterator[Row]:
    estimate, error = figure["estimate"], figure["se"]
    if name.startswith("change-point MLE"):
        yield change_from_target(name, figure)
    elif name.startswith("ARL EWMA"):
        weight, width, shift = (float(name.split(key)[1].split()[0]) for key in (" lam", " L", " d"))
        found = qs.ewma_run_length(weight, width, shift, time_varying="time-varying" in name)
        yield near(name[4:44], found.mean, estimate, errors=error)
    elif name.startswith("ARL CUSUM"):
        k, h, shift = (float(name.split(key)[1].split()[0]) for key in (" k", " h", " d"))
        yield near(name[4:44], qs.cusum_run_length(k, h, shift).mean, estimate, errors=error)
    elif name.startswith("ARL Nelson"):
        rules, shift = name.removeprefix("ARL Nelson rules ").split(" shift ")
        found = qs.rule_run_length(",".join(NELSON[part] for part in rules.split("+")), float(shift))
        yield near(f"rules {rules}, shift {shift}", found.mean, estimate, errors=error)
    elif name.startswith(("individuals MRbar", "xbar n=5 Rbar")):
        points = int(name.split("m=")[1].split()[0])
        single = name.startswith("individuals")
        found = qs.estimated_limits(
            points, n=1 if single else 5, estimator="moving-range" if single else "range"
        )
        if not single:
            yield near(name[:44], found.average_run_length, estimate, errors=error)
        under = figure["P_CARL_below_370"]
        yield near(f"{name[:34]} under 370", found.chance_under(370.4), under, absolute=0.005)
        shares = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9)
        ours = [found.run_length_quantile(share) for share in shares]
        yield near(f"{name[:34]} quantiles", ours, figure["quantiles_5_10_25_50_75_90"], relative=0.02)
    elif name.startswith("P(CARL"):
        points = int(name.split("m=")[1].split()[0])
        factor = qs.guaranteed_factor(points, 1 / 370.4, 0.9, df=points * 4)
        ours = 1 - qs.estimated_limits(points, n=5, factor=factor).chance_under(370.4)
        yield near(name[:44], ours, estimate, errors=error)
    elif name.startswith("Q-statistic max"):
        rng = np.random.default_rng(1)
        frame = pl.DataFrame({"series": np.repeat(np.arange(1500), 12), "value": rng.normal(size=18_000)})
        q = qs.self_starting_table(frame).points["value"].fill_null(0.0).to_numpy().reshape(1500, 12)
        greatest = float(np.max(np.abs(q[:, 2:].var(axis=0) - 1)))
        yield near("sd of Q is 1", greatest, 0.0, errors=math.sqrt(2 / 1500))


@compares("B11")
def handbook_factors(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Tolerance factors of the handbook; its "exact k2" answers another problem and is not compared."""
    n, content, sure = (item["inputs"][name] for name in ("N", "p", "gamma"))
    theirs, exact = item["published"], item["recomputed"]
    ours = [
        qs.howe_factor(n, content, sure),
        qs.natrella_factor(n, content, sure),
        qs.tolerance_factor(n, content, sure, sides=1),
    ]
    names = ("k2_Howe", "k1_Natrella", "k1_noncentral_t")
    yield near("Howe, Natrella, one-sided", ours, [theirs[name] for name in names], absolute=2e-6)
    yield near(
        "two-sided exact",
        qs.tolerance_factor(n, content, sure),
        exact["k2_exact"],
        absolute=1e-8,
        note="the handbook script's 2.2102 is another problem's",
    )


@compares("B13")
def tolerance_grid(item: Item, _: dict[str, Item]) -> Iterator[Row]:
    """Exact factors over a grid."""
    table = columns(item)
    asked = list(zip(table["n"], table["p"], table["confidence"], strict=True))
    yield near(
        "one-sided", [qs.tolerance_factor(*a, sides=1) for a in asked], table["k1_exact"], absolute=1e-5
    )
    yield near("two-sided", [qs.tolerance_factor(*a) for a in asked], table["k2_exact"], absolute=1e-5)
    yield near("Howe", [qs.howe_factor(*a) for a in asked], table["k2_Howe"], absolute=1e-5)
