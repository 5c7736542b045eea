"""`qc pair`: which inner tube of the rack into which outer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.jobs.remedies.cards import RACK, asked_sheet
from qc.jobs.remedies.errors import RemedyError, RemedyUsageError
from qc.jobs.remedies.planned import given, model_of_sheet, planned_limits
from qc.jobs.remedies.sheet import RemedySheet, SheetRow, SheetSource, with_taken
from qc.plain import as_meant
from qc.report.terminal import end_words, left_words, pair_lead, pair_text, run_words, taken_text
from qc.stats import Tabled
from qc.trade import (
    BODY_EXTRA_UM,
    COSTS,
    INCH_MM,
    TUBE_MM,
    Pairing,
    TightEnd,
    TradeError,
    Tube,
    best_pairing_yield,
    body_suspects,
    mean_mm,
    pair_tubes,
    random_pairing_yield,
    tight_end,
)

LEAST_FOR_DRIFT = 5
"""Tubes in order of drawing from which on a drift is worth a test."""

MOST_PAIRS = 100_000
"""Most pairs that are compared. Chosen: three hundred tubes a side take some seconds; a rack holds dozens."""

MOST_CLEARANCE_UM = 1e6
"""Chosen: a metre; what is asked for has to be a figure. [um]"""


@dataclass(frozen=True, slots=True)
class TubeRun:
    """The tubes of one side in the order of the file, before any pairing.

    Parameters
    ----------
    side : str
        `inner` or `outer`.
    names : tuple of str
        Tubes.
    means_mm : tuple of float
        Mean diameter of each. [mm]
    sd_um : float
        Spread among tubes. [um]
    drift_um : float
        Change from first to last by a straight line. [um]
    drifting : bool
        The slope is clear of 0.
    """

    side: str
    names: tuple[str, ...]
    means_mm: tuple[float, ...]
    sd_um: float
    drift_um: float
    drifting: bool


@dataclass(frozen=True, slots=True)
class PairResult(Tabled):
    """What `qc pair` answers."""

    ROWS = "pairs"

    pairing: Pairing
    target_um: float
    lower_um: float
    upper_um: float
    inner_run: TubeRun
    outer_run: TubeRun
    random_share: float | None
    best_share: float | None
    taken: tuple[str, ...] = ()
    ends: tuple[TightEnd, ...] = ()
    locked: tuple[tuple[str, str], ...] = ()

    @property
    def said(self) -> str:
        """The sentence a technician needs first."""
        return pair_lead(self.pairing, (self.lower_um, self.upper_um))

    @property
    def tight(self) -> tuple[str, ...]:
        """Which end of each pair is tight, in the order of the pairs."""
        return tuple(end_words(end) for end in self.ends)

    @property
    def leftovers(self) -> tuple[str, ...]:
        """What each tube without a mate wants, and what would mend it."""
        limits = self.lower_um - self.target_um, self.upper_um - self.target_um
        left = *self.pairing.left_inner, *self.pairing.left_outer
        return tuple(left_words(tube, limits) for tube in left)

    @property
    def rack(self) -> tuple[str, ...]:
        """The tubes of each side before pairing, in words: a drift of their die shows only there."""
        return tuple(
            run_words(run.side, run.means_mm, run.sd_um, run.drift_um if run.drifting else None)
            for run in (self.inner_run, self.outer_run)
        )

    def to_dict(self) -> dict[str, object]:
        """Give the pairing in the agreed shape; `taken` where something came from a card or a plan."""
        return self.pairing.to_dict() | with_taken(self.taken)

    def to_text(self) -> str:
        """Give the sentence a technician needs first, then pairs, leftovers and the tubes themselves."""
        shares = self.random_share, self.best_share
        text = pair_text(self.pairing, self.ends, (self.said, self.leftovers, self.rack), shares)
        return taken_text(text, self.taken)


@as_meant
def pair(
    inner: SheetSource,
    outer: SheetSource,
    *,
    target_um: float | None = None,
    lower_um: float | None = None,
    upper_um: float | None = None,
    cost: str = "",
    workshop: Path | None = None,
    locked: Sequence[tuple[str, str]] = (),
) -> PairResult:
    """Propose pairs from the rack.

    Parameters
    ----------
    inner, outer : path, polars DataFrame, pandas DataFrame or RemedySheet
        Columns `tube, station, direction, od_mm` or `id_mm`, optionally `leg` and `surface`; or a slide card
        as a bench writes it, one for both sides too.
    target_um, lower_um, upper_um : float, optional
        Diametral clearance wanted, and its limits; else those of the workshop's plan. [um]
    cost : str
        What is made least, see `qc.trade.COSTS`; else as the plan has it.
    workshop : Path, optional
        Workshop whose plan gives what is left out.
    locked : sequence of (inner, outer)
        Pairs that stay together; the rest is paired around them.

    Returns
    -------
    PairResult
        Pairs, leftovers, and the tubes before pairing.

    Raises
    ------
    RemedyError
        A cell that cannot be what was meant.
    RemedyUsageError
        Limits out of order or an unknown cost.
    """
    by = given(workshop)
    inner = asked_sheet(inner, RACK["od_mm"], name="inner tubes", plan=by.plan)
    outer = asked_sheet(outer, RACK["id_mm"], name="outer tubes", plan=by.plan)
    taken = tuple(dict.fromkeys(inner.taken + outer.taken))
    if by.plan is not None:
        model = model_of_sheet(inner, by, "tube")
        asked = (target_um, lower_um, upper_um)
        (target_um, lower_um, upper_um), said = planned_limits(by, "clearance", model, asked)
        taken += said
        cost = cost or by.plan.workshop.pairing_cost
    cost = cost or COSTS[0]
    if target_um is None or lower_um is None or upper_um is None:
        raise RemedyUsageError("--target-um, --lower-um and --upper-um are needed")
    if not max(abs(lower_um), abs(upper_um)) <= MOST_CLEARANCE_UM:
        raise RemedyUsageError(
            f"--lower-um {lower_um:g} and --upper-um {upper_um:g}: clearances in micrometres are needed"
        )
    if not lower_um <= target_um <= upper_um or not lower_um < upper_um:
        raise RemedyUsageError(
            f"--target-um {target_um:g} must lie between --lower-um {lower_um:g} and --upper-um {upper_um:g}"
        )
    if cost not in COSTS:
        raise RemedyUsageError(f"--cost {cost}: choose one of {', '.join(COSTS)}")
    inners, outers = read_rack(inner, "od_mm"), read_rack(outer, "id_mm")
    if len(inners) * len(outers) > MOST_PAIRS:
        raise RemedyError(
            f"{inner.name} and {outer.name}: {len(inners):,} inner and {len(outers):,} outer tubes make more "
            f"than {MOST_PAIRS:,} pairs to compare. Give the tubes of one rack"
        )
    _check_rack(inner, inners, outers, target_um)
    try:
        pairing = pair_tubes(inners, outers, target_um, lower_um, upper_um, cost, locked)
    except TradeError as error:
        raise RemedyError(f"{inner.name} and {outer.name}: {error}") from error
    inner_run, outer_run = tube_run("inner", inners), tube_run("outer", outers)
    shares = _shares(inner_run, outer_run, target_um, lower_um, upper_um)
    by_name = {tube.name: tube for tube in inners}, {tube.name: tube for tube in outers}
    ends = tuple(tight_end(by_name[0][p.inner], by_name[1][p.outer]) for p in pairing.pairs)
    return PairResult(
        pairing, target_um, lower_um, upper_um, inner_run, outer_run, *shares, taken, ends, tuple(locked)
    )


def read_rack(sheet: RemedySheet, column: str) -> list[Tube]:
    """Read the tubes of one side; readings of the body take no part.

    Raises
    ------
    RemedyError
        A missing column or a cell that is no diameter.
    """
    other = {"od_mm": "id_mm", "id_mm": "od_mm"}[column]
    if sheet.has(other) and not sheet.has(column):
        raise RemedyError(
            f"{sheet.name}: column {other} where {column} is needed. "
            "Inner tubes carry od_mm (--inner), outer tubes id_mm (--outer): swap the files"
        )
    sheet.need("tube", "station", column)
    racks: dict[str, dict[str, dict[str, list[float]]]] = {}
    for row in sheet.rows:
        surface = sheet.text(row, "surface").casefold()
        if surface not in {"", "stocking", "body"}:
            raise sheet.fault(row, "surface", f"{surface!r} is not known", "Write stocking or body")
        value = _diameter(sheet, row, column)
        name, station = sheet.label(row, "tube"), sheet.label(row, "station")
        if surface != "body":
            leg = racks.setdefault(name, {}).setdefault(sheet.text(row, "leg"), {})
            leg.setdefault(station, []).append(value)
    if not racks:
        raise RemedyError(f"{sheet.name}: only body readings. Measure the stockings, which carry the fit")
    return [Tube(name, legs) for name, legs in racks.items()]


def tube_run(side: str, tubes: list[Tube]) -> TubeRun:
    """Summarise the tubes of one side before pairing, since pairing hides a drifting die."""
    means = [mean_mm(tube) for tube in tubes]
    n, middle = len(means), math.fsum(means) / len(means)
    away = [index - (n - 1) / 2.0 for index in range(n)]
    spread = math.fsum(a * a for a in away)
    slope = math.fsum(a * m for a, m in zip(away, means, strict=True)) / spread if n > 1 else 0.0
    squares = math.fsum((m - middle) ** 2 for m in means)
    drifting = False
    if n >= LEAST_FOR_DRIFT:
        rest = max(0.0, squares - slope * slope * spread)
        drifting = rest == 0.0 < abs(slope) or (
            rest > 0.0 and abs(slope) / math.sqrt(rest / (n - 2) / spread) > _quantile(n - 2)
        )
    sd = math.sqrt(squares / (n - 1)) if n > 1 else 0.0
    return TubeRun(
        side,
        tuple(tube.name for tube in tubes),
        tuple(means),
        1000.0 * sd,
        1000.0 * slope * (n - 1),
        drifting,
    )


def _quantile(freedom: int) -> float:
    from scipy.special import stdtrit

    # two-sided 1 %: chosen, since every rack is asked
    return float(stdtrit(freedom, 0.995))


def _diameter(sheet: RemedySheet, row: SheetRow, column: str) -> float:
    """Read a diameter; one that no slide tube has is refused with the slip of unit that would explain it."""
    value = sheet.number(row, column)
    low, high = TUBE_MM
    if low <= value <= high:
        return value
    hint = "Give the diameter in millimetres"
    if low <= value * INCH_MM <= high:
        hint = f"If it was read in inches, write {value * INCH_MM:.3f}"
    elif low <= value / 1000.0 <= high:
        hint = f"If it was read in micrometres, or the decimal sign is missing, write {value / 1000.0:.3f}"
    raise sheet.fault(row, column, f"{value:g} mm is no slide tube's diameter", hint)


def _check_rack(sheet: RemedySheet, inners: list[Tube], outers: list[Tube], target_um: float) -> None:
    """Refuse tubes that cannot be what was meant: too large for every outer, or read on the body."""
    largest = max(mean_mm(tube) for tube in outers)
    for tube in inners:
        if mean_mm(tube) >= largest:
            row = next(row for row in sheet.rows if sheet.text(row, "tube") == tube.name)
            raise sheet.fault(
                row,
                "od_mm",
                f"{tube.name} is larger than every outer's bore (clearance below 0)",
                "Check that inner and outer files are not swapped, and measure it again",
            )
    labelled = {
        sheet.text(row, "tube") for row in sheet.rows if sheet.text(row, "surface").casefold() == "stocking"
    }
    for name in body_suspects(inners, outers, target_um):
        if name not in labelled:
            row = next(row for row in sheet.rows if sheet.text(row, "tube") == name)
            raise sheet.fault(
                row,
                "od_mm",
                f"{name} would be {BODY_EXTRA_UM[0]:.0f} µm or more too loose in every outer, as a body is",
                "Measure the stocking; if it was, say so in a column surface (stocking or body)",
            )


def _shares(
    inner: TubeRun, outer: TubeRun, target_um: float, lower_um: float, upper_um: float
) -> tuple[float | None, float | None]:
    """Give the expected share of means inside, taken at random and paired best; None without a spread."""
    lot = min(len(inner.names), len(outer.names))
    if lot < 3 or inner.sd_um <= 0.0 or outer.sd_um <= 0.0:
        return None, None
    middle = 1000.0 * (
        math.fsum(outer.means_mm) / len(outer.names) - math.fsum(inner.means_mm) / len(inner.names)
    )
    apart, half = middle - (lower_um + upper_um) / 2.0, (upper_um - lower_um) / 2.0
    random = random_pairing_yield(inner.sd_um, outer.sd_um, half, apart)
    # 500 lots: good to half a per cent, and the answer is told in whole ones
    return random, best_pairing_yield(inner.sd_um, outer.sd_um, half, lot, apart, lots=500)[0]
