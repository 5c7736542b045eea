"""Checks of distribution and spread in a study: normal or not, outliers, groups, a gauge too coarse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.stats.errors import StatisticsError
from qc.stats.gauges import LEAST_STEPS, gauge_resolution
from qc.stats.numbers import shown
from qc.stats.samples import (
    Grouped,
    Outlier,
    anderson_darling,
    generalised_esd,
    grubbs,
    levels_table,
    spread_test,
)
from qc.stats.studies.check_result import ALPHA, Check, Readings
from qc.stats.studies.p_values import grubbs_p_value

# chosen: more is no outlier but a second process
MOST_OUTLIERS = 10  # looked for at once, but never more than a fifth of the readings
LEVENE_FROM = (
    20  # readings a group from which Levene's test about means keeps its 5 % (simulated in the tests)
)
# readings a group from which distances from medians see a gross difference of spreads; two groups of
# three show none of any size (simulated in the tests)
MEDIANS_FROM = 10
SURE_FROM = 15  # readings from which the critical values of the generalised ESD test are good (NIST)


@dataclass(frozen=True, slots=True)
class Groups:
    """Readings by subgroup or model; both None where there is neither."""

    grouped: Grouped | None
    by: str | None

    def given(self) -> Grouped:
        """Return the readings by group, or say that there are none."""
        if self.grouped is None:
            raise StatisticsError("there are no groups: give --subgroup (or --model) to compare them")
        return self.grouped

    def within_sd(self) -> float | None:
        """Pooled sd within the groups, None where nothing is repeated."""
        if self.grouped is None or self.grouped.sizes.max() < 2:
            return None
        away = self.grouped.about_means()
        return float(np.sqrt(away @ away / (away.size - self.grouped.sizes.size)))


def check_normal(readings: Readings) -> Check:
    """Ask whether readings scatter as normal ones do.

    Returns
    -------
    Check
        Statistic: Anderson-Darling, adjusted for n.

    Raises
    ------
    StatisticsError
        As for `anderson_darling`.
    """
    found = anderson_darling(readings.values)
    clear = found.p_value < ALPHA
    verdict = (
        "not normal: limits and capability that take them as normal are doubtful (see --shape)"
        if clear
        else f"nothing in {found.n} readings speaks against it"
    )
    return Check("anderson_darling", readings.judged, found.n, found.statistic, found.p_value, clear, verdict)


def check_one_outlier(readings: Readings) -> Check:
    """Ask whether the most extreme reading belongs to the rest.

    Returns
    -------
    Check
        Statistic: distance of the most extreme reading on either side in sds; `above` and `below` ask about
        one side only.

    Raises
    ------
    StatisticsError
        As for `grubbs`.
    """
    found = grubbs(readings.values)
    p_value = grubbs_p_value(found.statistic, readings.n)
    figures: dict[str, object] = {**_suspect(readings, found)}
    for side in ("above", "below"):
        one = grubbs(readings.values, side=side)
        figures[side] = _suspect(readings, one) | {
            "statistic": one.statistic,
            "p_value": grubbs_p_value(max(one.statistic, 0.0), readings.n, both_sides=False),
            "clear": one.outlier,
        }
    where = f"point {figures['point']} ({shown(found.value)})"
    verdict = f"{where} does not belong to the rest" if found.outlier else f"even {where} belongs to the rest"
    return Check(
        "grubbs", readings.judged, readings.n, found.statistic, p_value, found.outlier, verdict, figures
    )


def check_outliers(readings: Readings) -> Check:
    """Ask whether several readings do not belong to the rest, though they hide one another.

    Returns
    -------
    Check
        Without statistic or p-value of its own: every step has its statistic and critical value.

    Raises
    ------
    StatisticsError
        As for `generalised_esd`.
    """
    most = max(1, min(MOST_OUTLIERS, readings.n // 5))
    steps = generalised_esd(readings.values, most)
    told = [_suspect(readings, step) | {"statistic": step.statistic, "clear": step.outlier} for step in steps]
    outliers = [step for step in told if step["clear"]]
    names = ", ".join(f"{step['point']} ({shown(step['value'])})" for step in outliers)
    verdict = f"points {names}" if len(outliers) > 1 else f"point {names}" if outliers else "none"
    if readings.n < SURE_FROM:
        verdict += f"; under {SURE_FROM} readings this is rough"
    return Check(
        "generalised_esd",
        readings.judged,
        readings.n,
        clear=bool(outliers),
        verdict=verdict,
        figures={"most": most, "outliers": outliers, "steps": told},
    )


def check_levels(groups: Groups) -> Check:
    """Ask whether the groups lie at one level.

    Returns
    -------
    Check
        Statistic: F of the one-way table of variance.

    Raises
    ------
    StatisticsError
        As for `levels_table`, or no spread within the groups.
    """
    grouped = groups.given()
    rows, variance = levels_table(grouped)
    between = rows[0]
    if between.f is None or between.p_value is None:
        raise StatisticsError("within every group all readings are equal: a finer gauge is needed")
    clear = between.p_value < ALPHA
    verdict = (
        f"{groups.by} levels differ: what changes from one to the next matters"
        if clear
        else f"one level does for every {groups.by}"
    )
    figures = _size(groups, grouped) | {
        "table": [row.to_dict() for row in rows],
        "within_sd": float(np.sqrt(rows[1].ms)),
        "between_variance": variance,
    }
    judged, n = f"readings by {groups.by}", int(grouped.values.size)
    return Check("anova", judged, n, between.f, between.p_value, clear, verdict, figures)


def check_spreads(groups: Groups, name: str) -> Check:
    """Ask whether the groups scatter alike.

    Parameters
    ----------
    groups : Groups
    name : {"bartlett", "levene", "brown_forsythe"}
        Which test: for normal readings, by distances from the mean, or from the median.

    Returns
    -------
    Check
        Groups of one reading take no part.

    Raises
    ------
    StatisticsError
        As for `spread_test`.
    """
    grouped = groups.given().repeated()
    found = spread_test(grouped, name)
    clear = found.p_value < ALPHA
    verdict = f"they scatter differently by {groups.by}" if clear else f"one spread does for each {groups.by}"
    figures = _size(groups, grouped)
    if name == "levene":
        figures["rough"] = bool(grouped.sizes.min() < LEVENE_FROM)
        if figures["rough"]:
            which = "believe the medians" if grouped.sizes.min() >= MEDIANS_FROM else "see Bartlett's"
            verdict += f" (groups under {LEVENE_FROM} make this call too often: {which})"
    if name == "brown_forsythe" and not clear and grouped.sizes.min() < MEDIANS_FROM:
        verdict += f" (groups under {MEDIANS_FROM} hide even gross differences from it: see Bartlett's)"
    judged = f"readings by {groups.by}"
    return Check(name, judged, found.n, found.statistic, found.p_value, clear, verdict, figures)


def check_gauge_step(readings: Readings, groups: Groups, resolution: float | None) -> Check:
    """Ask whether the step of the gauge is fine enough for the spread it has to show.

    Parameters
    ----------
    readings : Readings
    groups : Groups
        With groups the spread within them counts, else the moving range.
    resolution : float or None
        Step of the gauge; the smallest difference seen when None. [unit of the readings]

    Returns
    -------
    Check
        Without p-value; statistic: possible values of the moving range inside its limits.

    Raises
    ------
    StatisticsError
        As for `gauge_resolution`.
    """
    within = groups.within_sd()
    sigma = within if within is not None and within > 0 else None
    found = gauge_resolution(readings.values, resolution=resolution, sigma=sigma)
    given = "given" if resolution is not None else "seen"
    verdict = (
        f"the {given} step of {shown(found.step)} is fine enough"
        if found.fine_enough
        else f"the {given} step of {shown(found.step)} leaves {found.steps_inside} values inside the limits "
        f"of the moving range, fewer than {LEAST_STEPS}: expect false signals, read with a finer gauge"
    )
    return Check(
        "gauge_resolution",
        readings.judged,
        readings.n,
        statistic=float(found.steps_inside),
        clear=not found.fine_enough,
        verdict=verdict,
        figures=found.to_dict() | {"step_given": resolution is not None},
    )


def _suspect(readings: Readings, found: Outlier) -> dict[str, float]:
    """Tell the number, reading and critical value of a suspected outlier."""
    return {
        "point": int(readings.numbers[found.point - 1]),
        "value": found.value,
        "critical": found.critical,
    }


def _size(groups: Groups, grouped: Grouped) -> dict[str, object]:
    """Tell what the groups are and how many were compared."""
    return {"by": groups.by, "groups": int(grouped.sizes.size)}
