"""`qc coat`: lacquer by area, the house rule, capability at the lower limit, and the drift of the base."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from pathlib import Path

from qc.jobs.remedies.cards import COAT, asked_sheet
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.planned import Limits, given, model_of_sheet, planned_limits
from qc.jobs.remedies.sheet import RemedySheet, SheetSource, with_taken
from qc.plain import as_meant
from qc.report.terminal import coat_lead, coat_text, rule_words, taken_text
from qc.shares import percent_words
from qc.stats import Tabled
from qc.trade import (
    BASE_DRIFT_LIMIT_UM,
    AreaThickness,
    HouseRule,
    TradeError,
    area_thickness,
    base_drift_um,
    cautions_for,
    dry_from_wet_um,
    house_80_20,
    lower_capability,
    lower_capability_interval,
    penetration_depth_um,
    spot_means,
    wall_is_thin_for_probe,
)
from qc.trade import Spot as Spot
from qc.words import places_words

MOST_UM = 1000.0
"""No lacquer is a millimetre thick. [um]"""

HOUSE_RULE = (
    "80/20 is a house rule over the spots of a whole instrument; it is borrowed from thick paint on steel "
    "and proves conformity with no standard"
)
"""Said with every verdict of the rule."""


@dataclass(frozen=True, slots=True)
class CoatResult(Tabled):
    """What `qc coat` answers."""

    ROWS = "areas"

    areas: tuple[AreaThickness, ...]
    rules: dict[str, HouseRule]
    area_passes: dict[str, bool]
    spots: tuple[Spot, ...]
    nominal_um: float
    lower_um: float
    upper_um: float | None
    cpl: float | None
    interval: tuple[float, float] | None
    base_drift_um: float | None
    cautions: tuple[str, ...]
    taken: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """Where it is thin, and what to do first."""
        return coat_lead(self.areas, self.rules, self.lower_um)

    @property
    def clauses(self) -> tuple[str, ...]:
        """What the house rule asks, with the figures it was asked of."""
        several = len(self.rules) > 1
        return tuple(
            said
            for serial, rule in self.rules.items()
            for said in rule_words(
                rule,
                [spot for spot in self.spots if spot.serial == serial],
                self.nominal_um,
                serial if several else "",
            )
        )

    def to_dict(self) -> dict[str, object]:
        """Give the judgement in the agreed shape; `taken` where something came from a card or a plan."""
        shape: dict[str, object] = {
            "areas": [{**area.to_dict(), "house_80_20": self.area_passes[area.area]} for area in self.areas],
            "cpl": self.cpl,
            "interval": None if self.interval is None else list(self.interval),
            "base_drift_um": self.base_drift_um,
            "cautions": list(self.cautions),
        }
        return shape | with_taken(self.taken)

    def to_text(self) -> str:
        """Give where it is thin and what to do first, then the areas."""
        capability = (self.cpl, self.interval)
        text = coat_text(
            self.areas,
            self.rules,
            self.area_passes,
            self.lower_um,
            capability,
            self.base_drift_um,
            self.cautions,
            self.clauses,
        )
        return taken_text(text, self.taken)


@as_meant
def coat(
    sheet: SheetSource,
    *,
    nominal_um: float | None = None,
    lower_um: float | None = None,
    upper_um: float | None = None,
    wet_um: float | None = None,
    solids: float | None = None,
    wall_mm: float | None = None,
    probe_mhz: float = 2.0,
    workshop: Path | None = None,
) -> CoatResult:
    """Judge the lacquer readings of a sheet.

    Parameters
    ----------
    sheet : path, polars DataFrame, pandas DataFrame or RemedySheet
        Columns `area, spot, um`, optionally `base_um` (bare-metal reading beside it) and `serial`; or a
        lacquer card as a bench writes it.
    nominal_um, lower_um, upper_um : float, optional
        Nominal thickness and limits; else those of the workshop's plan. [um]
    wet_um, solids : float, optional
        Wet film and share of solids by volume, for a check from upstream.
    wall_mm : float, optional
        Wall under the coat, to say whether the probe sees through it. [mm]
    probe_mhz : float
        Frequency of the probe. [MHz]
    workshop : Path, optional
        Workshop whose plan gives what is left out.

    Returns
    -------
    CoatResult
        Areas, house rule, capability, drift and cautions.

    Raises
    ------
    RemedyError
        A missing column or a cell that is no thickness.
    RemedyUsageError
        Limits out of order.
    """
    sheet, (nominal_um, lower_um, upper_um), taken = _planned(
        sheet, workshop, (nominal_um, lower_um, upper_um)
    )
    _check_asked(nominal_um, lower_um, upper_um, wet_um, solids, wall_mm, probe_mhz)
    readings, bases = _read(sheet)
    try:
        spots = spot_means(readings)
    except TradeError as error:
        raise sheet.blame(error, sheet.rows, {"um": "um"}) from error
    areas = area_thickness(spots, nominal_um)
    serials = list(dict.fromkeys(spot.serial for spot in spots))
    rules = {s: house_80_20([spot.um for spot in spots if spot.serial == s], nominal_um) for s in serials}
    failed = {spot.area for spot in spots if not rules[spot.serial].passes}
    values = [spot.um for spot in spots]
    cpl = interval = None
    if len(set(values)) > 1:
        cpl = lower_capability(values, lower_um)
        interval = lower_capability_interval(cpl, len(values))
    drift = base_drift_um(bases) if bases else None
    notes = _notes(areas, rules, bases, drift, lower_um, upper_um, spots)
    notes += _upstream_notes(values, wet_um, solids, wall_mm, probe_mhz)
    return CoatResult(
        tuple(areas),
        rules,
        {area.area: area.area not in failed for area in areas},
        tuple(spots),
        nominal_um,
        lower_um,
        upper_um,
        cpl,
        interval,
        drift,
        (*notes, *cautions_for("lacquer")),
        taken,
    )


def _planned(
    source: SheetSource, workshop: Path | None, asked: Limits
) -> tuple[RemedySheet, tuple[float, float, float | None], tuple[str, ...]]:
    """Read the sheet, fill the limits from the workshop's plan, and say where from."""
    by = given(workshop)
    if by.plan is None and None in asked[:2]:
        raise RemedyUsageError("--nominal and --lower are needed, in micrometres")
    sheet = asked_sheet(source, COAT, plan=by.plan)
    model = model_of_sheet(sheet, by) if by.plan is not None else None
    (nominal, lower, upper), said = planned_limits(by, "thickness", model, asked)
    if nominal is None or lower is None:
        raise RemedyUsageError(f"{by.name} has no thickness limits: give --nominal and --lower")
    return sheet, (nominal, lower, upper), sheet.taken + said


def _check_asked(
    nominal_um: float,
    lower_um: float,
    upper_um: float | None,
    wet_um: float | None,
    solids: float | None,
    wall_mm: float | None,
    probe_mhz: float,
) -> None:
    """Refuse limits out of order and figures that are none, each by the option it came with."""
    rising = 0 < lower_um <= nominal_um <= (MOST_UM if upper_um is None else upper_um) <= MOST_UM
    if not rising or upper_um == nominal_um:
        raise RemedyUsageError(
            f"--lower, --nominal and --upper must rise in this order, in micrometres up to {MOST_UM:g}"
        )
    if (wet_um is None) != (solids is None):
        raise RemedyUsageError("--wet-um and --solids belong together")
    if wet_um is not None and not 0 < wet_um < 10_000:
        raise RemedyUsageError(f"--wet-um {wet_um:g}: a wet film in micrometres above 0 is needed")
    if wall_mm is not None and not 0 < wall_mm < 10:
        raise RemedyUsageError(
            f"--wall-mm {wall_mm:g}: a wall in millimetres above 0 is needed, such as 0.45"
        )
    if not 0 < probe_mhz < 1000:
        raise RemedyUsageError(f"--probe-mhz {probe_mhz:g}: a frequency in MHz above 0 is needed")


def _read(sheet: RemedySheet) -> tuple[list[Spot], list[float]]:
    """Read spots with the mean bare-metal reading taken off, and the bare-metal readings in order."""
    sheet.need("area", "spot", "um")
    bases = {row.line: sheet.optional_number(row, "base_um") for row in sheet.rows}
    known = [base for base in bases.values() if base is not None]
    base = statistics.fmean(known) if known else 0.0
    values = [sheet.number(row, "um") for row in sheet.rows]
    # chosen: no lacquer is under a micrometre everywhere, but all are under one in millimetres
    if max(values) < 1.0:
        raise RemedyError(
            f"{sheet.name}: every thickness in column um is below 1. Give micrometres: 0.015 mm is 15 µm"
        )
    for row, value in zip(sheet.rows, values, strict=True):
        if not 0.0 <= value < MOST_UM:
            raise sheet.fault(row, "um", f"{value:g} µm is no lacquer thickness", "Measure the spot again")
    spots = [
        Spot(sheet.label(row, "area"), sheet.label(row, "spot"), value - base, sheet.text(row, "serial"))
        for row, value in zip(sheet.rows, values, strict=True)
    ]
    return spots, known


def _notes(
    areas: list[AreaThickness],
    rules: dict[str, HouseRule],
    bases: list[float],
    drift: float | None,
    lower_um: float,
    upper_um: float | None,
    spots: list[Spot],
) -> list[str]:
    """Say what to know before believing a verdict, the house rule's own reach first."""
    notes = [HOUSE_RULE]
    if bases:
        notes.append(
            f"The mean bare-metal reading of {statistics.fmean(bases):.1f} µm is taken off every reading"
        )
    if drift is not None and abs(drift) > BASE_DRIFT_LIMIT_UM:
        notes.append(
            f"The bare-metal reading moved by {places_words(drift, 1, signed=True)} µm: zero the gauge "
            "again on the bare twin and "
            f"measure the spots between the two checks again"
        )
    for area in areas:
        if area.least < lower_um:
            notes.append(f"{area.area} is thin: least spot {area.least:.1f} µm, limit {lower_um:g} µm")
    thick = [spot for spot in spots if upper_um is not None and spot.um > upper_um]
    if thick:
        worst = max(thick, key=lambda spot: spot.um)
        notes.append(f"{worst.area}, spot {worst.spot} is thick: {worst.um:.1f} µm; thick coats run")
    failed = [serial for serial, rule in rules.items() if not rule.passes]
    if failed and any(failed):
        notes.append(f"House rule failed: {', '.join(failed)}")
    return notes


def _upstream_notes(
    values: list[float], wet_um: float | None, solids: float | None, wall_mm: float | None, probe_mhz: float
) -> list[str]:
    """Say what the wet film promised, and whether the probe sees through the wall."""
    notes = []
    if wet_um is not None and solids is not None:
        notes.append(_wet_note(wet_um, solids, values))
    if wall_mm is not None and wall_is_thin_for_probe(wall_mm, 1e6 * probe_mhz):
        depths_mm = 3 * penetration_depth_um(1e6 * probe_mhz) / 1000
        notes.append(
            f"A wall of {wall_mm:g} mm is thinner than three penetration depths ({depths_mm:.2f} mm at "
            f"{probe_mhz:g} MHz): zero on the same bare part at the same spot"
        )
    return notes


def _wet_note(wet_um: float, solids: float, values: list[float]) -> str:
    try:
        dry = dry_from_wet_um(wet_um, solids)
    except TradeError as error:
        raise RemedyUsageError(f"--solids {solids:g}: {error}") from error
    return (
        f"A wet film of {wet_um:g} µm at {percent_words(solids)} solids dries to {dry:.1f} µm; measured mean "
        f"{statistics.fmean(values):.1f} µm"
    )
