"""Means, uncertainties and fits as a person reads them: the finding first, then the figures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from qc.intervals import digits_words
from qc.report.terminal.columns import Row, notes, table
from qc.stats import ExpandedUncertainty, MeanAndSd
from qc.trade import LimitFit
from qc.words import count_words, figure_words, places_words, plain_words

CauseRow = tuple[str, float, str, float, float]
"""Name of a cause, its value as given, its kind, its standard uncertainty and degrees of freedom."""

FITS = {
    "clearance": "Clearance fit: every pair goes together with room.",
    "transition": "Transition fit: some pairs have room, others do not go together by hand.",
    "interference": "Interference fit: no pair has room.",
}


def average_text(
    series: Mapping[str, MeanAndSd], expected: tuple[float | None, float | None], value: str, file: str
) -> str:
    """Say the mean and the sd of each series with their intervals, and whether they are as expected."""
    return "\n\n".join(_one_average(name, found, expected, value, file) for name, found in series.items())


def _one_average(
    name: str, found: MeanAndSd, expected: tuple[float | None, float | None], value: str, file: str
) -> str:
    """Say a mean with its interval and test, then its spread and how many readings it rests on."""
    sure = f"{100 * found.confidence:g} % sure"
    mean = _as_fine(found.mean, found.mean_error)
    head = f"{name}: " if name else ""
    low, high = (_as_fine(end, found.mean_error) for end in found.mean_interval)
    lines = [f"{head}the mean of {value} is {mean}, {sure} between {low} and {high}."]
    lines += _test_lines(found, expected)
    lots = "" if found.lots is None else f" in {count_words(found.lots, 'lot')}"
    worth = "" if found.lots is None else f", as sure as {found.counts_as:.3g} independent readings"
    rows: list[Row] = [
        ("", "estimate", "from", "to", "df"),
        ("mean", mean, low, high, f"{found.mean_df:.3g}"),
        (
            "sd of a reading",
            *(f"{x:.4g}" for x in (found.sd, *found.sd_interval)),
            f"{found.sd_df:.3g}",
        ),
    ]
    source = f"{value} in {file}: {count_words(found.n, 'reading')}{lots}{worth}"
    return "\n".join([*lines, "", source, "", *table(rows, "<>>>>"), *notes(found.warnings)])


def _test_lines(found: MeanAndSd, expected: tuple[float | None, float | None]) -> list[str]:
    """Say of each test whether chance alone would do."""
    told = []
    for what, test, wanted in (("mean", found.mean_test, expected[0]), ("sd", found.sd_test, expected[1])):
        if test is not None and wanted is not None:
            chance = f"p {test.p_value:.3f}" if test.p_value >= 0.0005 else "p under 0.001"
            clear = test.p_value < 1.0 - found.confidence
            said = (
                f"is not {plain_words(wanted)}"
                if clear
                else f"may be {plain_words(wanted)}: nothing here speaks against it"
            )
            told.append(f"The true {what} {said} ({test.test} {digits_words(test.statistic, 4)}, {chance}).")
    return told


def uncertainty_text(found: ExpandedUncertainty, causes: Sequence[CauseRow]) -> str:
    """Say how far a reading may lie from the true value, and which cause adds most."""
    sure = f"{100 * found.confidence:g} % sure"
    first = max(found.shares, key=lambda name: found.shares[name])
    df = "without end" if math.isinf(found.df) else f"{found.df:.3g}"
    lines = [
        f"A reading lies within ±{found.expanded:.3g} of the true value, {sure}: {found.factor:.2f} times "
        f"the combined standard uncertainty of {found.combined:.3g} (degrees of freedom {df}).",
        f"Most of it comes from {first}: {100 * found.shares[first]:.0f} % of the variance.",
        "",
    ]
    rows: list[Row] = [("cause", "value", "kind", "standard", "df", "share of variance")]
    rows += [
        (
            name,
            digits_words(value, 4),
            kind,
            f"{standard:.4g}",
            "" if math.isinf(df_) else f"{df_:.3g}",
            f"{100 * found.shares[name]:.0f} %",
        )
        for name, value, kind, standard, df_ in sorted(causes, key=lambda row: -found.shares[row[0]])
    ]
    return "\n".join([*lines, *table(rows, "<><>>>")])


def fit_text(fit: LimitFit, hole_um: tuple[float, float], shaft_um: tuple[float, float]) -> str:
    """Say what kind of fit two pairs of limits give, and its least and greatest clearance."""
    return "\n".join(
        [
            FITS[fit.kind],
            f"Least clearance {_room(fit.least_um)}, greatest {_room(fit.greatest_um)}; the fit spreads over "
            f"{fit.spread_um:g} µm, both tolerances together.",
            f"Hole {_ends(hole_um)}, shaft {_ends(shaft_um)} from one nominal size.",
        ]
    )


def _room(um: float) -> str:
    return f"{plain_words(um)} µm" + (" (interference)" if um < 0 else "")


def _ends(um: tuple[float, float]) -> str:
    low, high = (figure_words(f"{x:+g}") for x in um)
    return f"{low} to {high} µm"


def _as_fine(value: float, error: float) -> str:
    """Write a mean with two digits of its error: more of them say nothing."""
    places = max(0, 1 - math.floor(math.log10(error)))
    return places_words(value, min(places, 12))
