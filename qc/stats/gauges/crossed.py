"""Gauge study: how much of a reading comes from the gauge and the people, and what the gauge is good for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from qc.stats.errors import StatisticsError, StatisticsUsageError
from qc.stats.gauges.anova import COMPONENTS, Design, crossed_design, nested_design, one_person_design
from qc.stats.gauges.intervals import component_intervals, share_interval
from qc.stats.gauges.layout import Layout, lay_out
from qc.stats.gauges.step import gauge_resolution
from qc.stats.gauges.told_apart import parts_told_apart
from qc.stats.gauges.uneven import uneven_design, uneven_nested_design
from qc.stats.gauges.who_reads import PersonReads, advice_for, persons_read
from qc.stats.numbers import Interval, as_number, check_limits
from qc.stats.samples import AnovaRow
from qc.stats.tabled import Tabled, frame_of

if TYPE_CHECKING:
    import polars as pl

# an interaction with a greater p-value counts as repeatability (common practice, no source)
POOL_ABOVE = 0.25
LEAST_CATEGORIES = 5  # read in gauge study guides: fewer and the gauge cannot tell parts apart on a chart
GOOD_SHARE = 0.10  # of the tolerance; read in gauge study guides
MARGINAL_SHARE = 0.30  # likewise
_ONE_LIMIT = "with one limit there is no tolerance to take a share of: use a guard band at that limit"
_FITTED = {False: "each factor fitted after the others", True: "the parts fitted within their persons"}
_ROUNDING = 1e-12  # of the whole variance: a component below it is the computer's rounding


@dataclass(frozen=True, slots=True)
class GaugeStudy(Tabled):
    """What a gauge study found.

    Attributes
    ----------
    design : str
        `crossed`, `crossed-once`, `nested` or `one-person`.
    parts, persons, repeats : int
        Size of the study (nested: parts of each person).
    anova : tuple of AnovaRow
        Table of variance.
    components : dict of str to float
        Variances, floored at 0. [square of the unit]
    sd : dict of str to float
        Their roots. [unit of the readings]
    share_of_variation : float or None
        Gauge sd over total sd; None when nothing varies.
    share_of_tolerance : float or None
        Six gauge sds over the tolerance; None without two limits.
    categories : int or None
        Groups of parts that the gauge can tell apart; None when the gauge shows no spread.
    intervals : dict of str to (float, float)
        Intervals of the variances and of both shares.
    confidence : float
        Of each interval.
    good_for : tuple of str
        `charting` and `release`, what it is good for.
    pooled : bool
        Whether the interaction was counted as repeatability.
    verdict : str
        The finding in a sentence.
    warnings : tuple of str
        What to know before believing it.
    reads : tuple of PersonReads
        How far each person reads from the mean of all, on the same parts; empty for a nested study or one
        person.
    advice : str
        What helps against the largest part of the gauge's variance, and who reads high or low.
    """

    design: str
    parts: int
    persons: int
    repeats: int
    anova: tuple[AnovaRow, ...]
    components: dict[str, float]
    sd: dict[str, float]
    share_of_variation: float | None
    share_of_tolerance: float | None
    categories: int | None
    intervals: dict[str, Interval]
    confidence: float
    good_for: tuple[str, ...]
    pooled: bool
    verdict: str
    warnings: tuple[str, ...]
    reads: tuple[PersonReads, ...] = ()
    advice: str = ""

    def to_frame(self) -> pl.DataFrame:
        """Return one row per component: variance with its interval, sd and share of all variance."""
        total = self.components["total"]
        rows = []
        for name, variance in self.components.items():
            low, high = self.intervals.get(name, (None, None))
            row = {"component": name, "variance": variance, "low": low, "high": high, "sd": self.sd[name]}
            rows.append(row | {"share_of_variance": variance / total if total > 0 else None})
        return frame_of(rows)


def gauge_study(
    values: ArrayLike,
    parts: Sequence[object],
    persons: Sequence[object] | None = None,
    *,
    lower: float | None = None,
    upper: float | None = None,
    nested: bool = False,
    keep_interaction: bool = False,
    resolution: float | None = None,
    confidence: float = 0.95,
) -> GaugeStudy:
    """Study a gauge from repeated readings: components, shares, categories, intervals, verdict.

    Parameters
    ----------
    values : array_like of float, length n
        Readings. [any unit]
    parts, persons : sequence, length n
        Part and person of each reading; at least two parts; one person when left out.
    lower, upper : float, optional
        Specification limits, for the share of the tolerance. [same unit]
    nested : bool
        Each person measures parts of their own.
    keep_interaction : bool
        Keep the interaction of person and part even if its F test has p > 0.25; else it is pooled.
    resolution : float, optional
        Step of the gauge; repeatability is not taken below resolution / sqrt 12. [same unit]
    confidence : float, 0..1
        Confidence of each interval: exact for repeatability, modified large sample for the other variances,
        generalised for the share of variation.

    Raises
    ------
    StatisticsError
        Fewer than two parts, nothing repeated, limits the wrong way round, or
        readings that do not vary at all; StatisticsUsageError: a nested study of one person.

    References
    ----------
    .. [1] Burdick, Borror and Montgomery, "A review of methods for measurement systems capability analysis",
       Journal of Quality Technology 35, 2003; data of Houf and Berman 1988 in the tests.

    Examples
    --------
    >>> readings = [10.0, 10.1, 12.0, 12.1, 11.0, 10.9, 10.2, 10.1, 12.2, 12.1, 11.1, 11.0]
    >>> found = gauge_study(readings, [1, 1, 2, 2, 3, 3] * 2, ["a"] * 6 + ["b"] * 6, lower=8.0, upper=15.0)
    >>> found.categories, found.good_for
    (15, ('charting', 'release'))
    """
    check_limits(lower, upper, "gauge study: ")
    if resolution is not None:
        as_number(resolution, "gauge study: resolution", above=0.0)
    layout = lay_out(values, parts, persons, nested=nested, holes=True)
    if np.ptp(layout.taken) == 0.0:
        raise StatisticsError("gauge study: all readings are equal; take parts that differ or a finer gauge")
    chosen = _choose(layout, nested, keep_interaction)
    components, notes = _floored(chosen.design, layout, resolution)
    tolerance = None if lower is None or upper is None else upper - lower
    one_limit = tolerance is None and not (lower is None and upper is None)
    warnings = (*chosen.notes, *notes, *(_ONE_LIMIT,) * one_limit)
    return _study(layout, chosen, components, tolerance, resolution, confidence, warnings)


@dataclass(frozen=True, slots=True)
class _Chosen:
    """Design that fits a layout, with what has to be said about it."""

    name: str
    design: Design
    pooled: bool
    notes: tuple[str, ...]


def _study(
    layout: Layout,
    chosen: _Chosen,
    components: dict[str, float],
    tolerance: float | None,
    resolution: float | None,
    confidence: float,
    warnings: tuple[str, ...],
) -> GaugeStudy:
    """Shares, categories, intervals and verdict from the components."""
    sd = {component: math.sqrt(value) for component, value in components.items()}
    # what the step held up, its intervals must not fall below either
    floor = 0.0
    if components["repeatability"] > chosen.design.raw("repeatability"):  # it was held up by the step
        floor = components["repeatability"]
    intervals = component_intervals(chosen.design, confidence, floor=floor)
    intervals["share_of_variation"] = share_interval(chosen.design, confidence, floor=floor)
    share = None
    if tolerance is not None:
        share = 6.0 * sd["gauge"] / tolerance
        low, high = (6.0 * math.sqrt(end) / tolerance for end in intervals["gauge"])
        intervals["share_of_tolerance"] = (low, high)
    categories = parts_told_apart(sd["part"], sd["gauge"])
    good_for = _good_for(categories, share, resolution, sd["total"])
    shape = layout.readings.shape
    reads: tuple[PersonReads, ...] = ()
    if chosen.name != "nested":
        reads = persons_read(layout.taken, *layout.labels(), layout.persons, chosen.design, confidence)
    return GaugeStudy(
        design=chosen.name,
        parts=shape[1] if chosen.name == "nested" else shape[0],
        persons=len(layout.persons),
        repeats=shape[2],
        anova=chosen.design.rows,
        components=components,
        sd=sd,
        share_of_variation=sd["gauge"] / sd["total"],
        share_of_tolerance=share,
        categories=categories,
        intervals=intervals,
        confidence=confidence,
        good_for=good_for,
        pooled=chosen.pooled,
        verdict=_verdict(good_for, categories, share),
        warnings=warnings + _coarse(layout, resolution, sd["total"]),
        reads=reads,
        advice=advice_for(components, reads),
    )


def _choose(layout: Layout, nested: bool, keep: bool) -> _Chosen:
    """Take the design that fits the layout."""
    parts, persons, repeats = layout.readings.shape  # nested: persons, parts of each, repeats
    if nested and len(layout.persons) < 2:
        raise StatisticsUsageError("gauge study: a nested study needs two persons or more")
    if not layout.full:
        return _choose_uneven(layout, keep)
    if nested:
        notes = _nothing_to_keep(keep, "a nested study") + _few(parts * persons, parts)
        return _Chosen("nested", nested_design(layout.readings), False, notes)
    if persons == 1:
        note = "one person only: nothing is known about how people differ"
        notes = (note, *_nothing_to_keep(keep, "a study by one person"), *_few(parts, 1))
        return _Chosen("one-person", one_person_design(layout.readings[:, 0, :]), False, notes)
    if repeats == 1:
        note = "no repeats: repeatability holds the interaction of person and part as well"
        notes = (note, *_nothing_to_keep(keep, "a study without repeats"), *_few(parts, persons))
        return _Chosen("crossed-once", crossed_design(layout.readings, pooled=True), False, notes)
    design = crossed_design(layout.readings)
    p_value = design.row("person_part").p_value
    if keep or p_value is None or p_value <= POOL_ABOVE:
        return _Chosen("crossed", design, False, _few(parts, persons))
    notes = (_pooled_note(p_value), *_few(parts, persons))
    return _Chosen("crossed", crossed_design(layout.readings, pooled=True), True, notes)


def _choose_uneven(layout: Layout, keep: bool) -> _Chosen:
    """Take the design that fits a layout with holes, and say that its figures are rougher."""
    parts, persons, repeats = layout.readings.shape
    if layout.nested:
        parts, persons = len(layout.parts), len(layout.persons)
    lacking = int(np.isnan(layout.readings).sum())
    notes = (
        f"{lacking} of {layout.readings.size} readings of a full study are missing: components by the "
        f"general linear model ({_FITTED[layout.nested]}), their intervals are approximate",
        *_few(parts, persons),
    )
    labels = layout.labels()
    if layout.nested:
        notes += _nothing_to_keep(keep, "a nested study")
        return _Chosen("nested", uneven_nested_design(layout.taken, *labels), False, notes)
    if persons == 1:
        alone: tuple[str, ...] = ("one person only: nothing is known about how people differ",)
        alone += _nothing_to_keep(keep, "a study by one person")
        return _Chosen("one-person", uneven_design(layout.taken, *labels), False, alone + notes)
    cells = int((~np.isnan(layout.readings)).any(axis=2).sum())
    if repeats == 1 or layout.taken.size == cells:
        once: tuple[str, ...] = (
            "no repeats: repeatability holds the interaction of person and part as well",
        )
        once += _nothing_to_keep(keep, "a study without repeats")
        return _Chosen("crossed-once", uneven_design(layout.taken, *labels, pooled=True), False, once + notes)
    if cells <= parts + persons - 1:
        tied = (f"{cells} filled cells do not show the interaction: repeatability holds it as well",)
        return _Chosen("crossed", uneven_design(layout.taken, *labels, pooled=True), True, tied + notes)
    design = uneven_design(layout.taken, *labels)
    p_value = design.row("person_part").p_value
    if keep or p_value is None or p_value <= POOL_ABOVE:
        return _Chosen("crossed", design, False, notes)
    return _Chosen(
        "crossed", uneven_design(layout.taken, *labels, pooled=True), True, (_pooled_note(p_value), *notes)
    )


def _pooled_note(p_value: float) -> str:
    """Say that the interaction was pooled."""
    return (
        f"person_part is pooled into repeatability: its F test has p {p_value:.2f}, above {POOL_ABOVE} "
        "(--keep-interaction keeps it)"
    )


def _nothing_to_keep(keep: bool, design: str) -> tuple[str, ...]:
    """Say that the interaction cannot be kept where the design has none."""
    return (f"the interaction cannot be kept apart: {design} does not show it",) if keep else ()


def _few(parts: int, persons: int) -> tuple[str, ...]:
    """Say when the study is too small for its part or person figure to mean much."""
    notes: tuple[str, ...] = ()
    # common practice, no source
    if parts < 5:
        notes += (f"{parts} parts only: the spread of parts, and all shares of it, are very uncertain",)
    if persons == 2:
        notes += ("two persons only: the spread of persons is very uncertain",)
    return notes


def _floored(
    design: Design, layout: Layout, resolution: float | None
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Components, none below 0 and repeatability not below the step, with a sentence for each change."""
    notes: tuple[str, ...] = ()
    out = dict.fromkeys(COMPONENTS, 0.0)
    for component in ("repeatability", "person", "person_part", "part"):
        if component not in design.weights:
            continue
        raw = design.raw(component)
        if abs(raw) < _ROUNDING * design.rows[-1].ms:
            raw = 0.0
        if raw < 0.0:
            notes += (
                f"{component}: the estimate is negative ({raw:.3g}) and set to 0, no spread is seen there",
            )
        out[component] = max(raw, 0.0)
    step = resolution
    if step is None and out["repeatability"] == 0.0:
        step = gauge_resolution(layout.taken).step
    if step is not None and out["repeatability"] < step**2 / 12.0:
        out["repeatability"] = step**2 / 12.0
        notes += (f"repeatability is set to the floor of the step {step:.4g}, {step / math.sqrt(12.0):.3g}",)
    out["gauge"] = out["repeatability"] + out["person"] + out["person_part"]
    out["total"] = out["gauge"] + out["part"]
    return out, notes


def _coarse(layout: Layout, resolution: float | None, total_sd: float) -> tuple[str, ...]:
    """Say what a coarse step does to this study."""
    notes: tuple[str, ...] = ()
    if layout.readings.shape[2] > 1:
        cells = layout.readings.reshape(-1, layout.readings.shape[2])
        cells = cells[(~np.isnan(cells)).sum(axis=1) > 1]
        same = np.nanmax(cells, axis=1) == np.nanmin(cells, axis=1)
        if np.mean(same) > 0.5:
            notes += (
                f"in {int(same.sum())} of {same.size} cells all repeats read the same: the step hides the "
                "repeatability, read the gauge finer",
            )
    if resolution is not None:
        found = gauge_resolution(layout.taken, resolution=resolution, sigma=total_sd)
        if not found.fine_enough:
            notes += (
                f"the step {resolution:.4g} leaves {found.steps_inside} values inside the range limits: "
                "a chart of such readings gives false signals",
            )
    return notes


def _good_for(
    categories: int | None, share: float | None, resolution: float | None, total_sd: float
) -> tuple[str, ...]:
    """Charting by categories and step, release by the share of the tolerance."""
    fine = True
    if resolution is not None:
        fine = gauge_resolution([0.0, 1.0], resolution=resolution, sigma=total_sd).fine_enough
    charting = fine and (categories is None or categories >= LEAST_CATEGORIES)
    release = share is not None and share <= GOOD_SHARE
    return tuple(job for job, fit in (("charting", charting), ("release", release)) if fit)


def _verdict(good_for: tuple[str, ...], categories: int | None, share: float | None) -> str:
    """Say the finding in a sentence."""
    told = f"it tells {categories} groups of parts apart"
    if categories is None:
        told = "no spread of the gauge is seen"
    first = f"{'Good' if 'charting' in good_for else 'Not good'} for charting: {told}"
    if share is None:
        return f"{first}. Release: not judged, two limits are needed."
    percent = f"the gauge takes {100.0 * share:.0f} % of the tolerance"
    if share <= GOOD_SHARE:
        return f"{first}; good for release: {percent}."
    if share <= MARGINAL_SHARE:
        return f"{first}; marginal for release: {percent}. Accept only inside the limits less a guard band."
    return f"{first}; not good for release: {percent}."
