"""Splitting the deviations of a note set into causes: main length, wraps, slide marks, partials."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from qc.stats import Floats, Integers, Tabled
from qc.trade.errors import TradeError
from qc.trade.instrument import Instrument
from qc.trade.sound.note_set import Note, NoteDesign, check_notes, firm_notes, note_design, valve_column_mm
from qc.trade.sound.separation import Separation, separate, separation_words
from qc.trade.sound.sitting_model import (
    LEAST_VARIANCE,
    SittingFit,
    block_numbers,
    check_spreads,
    fit_sittings,
)

STANDS_APART_RISK = 0.005
"""Chance that any reading of a sound note set is left out as standing apart."""

MOST_LEFT_OUT = 0.1
"""Share of readings that may be left out: more than that is not a few slips."""


@dataclass(frozen=True, slots=True)
class LengthError(Tabled):
    """How much too long (+) a length is; None where the note set cannot tell.

    Parameters
    ----------
    part : str
        `main` or `valve:NAME`.
    column_mm : float
        The whole air column it is judged on. [mm]
    error_mm, standard_error_mm : float or None
        Estimate and standard error. [mm of tube]
    interval_mm : tuple of float or None
        Confidence interval. [mm of tube]
    """

    part: str
    column_mm: float
    error_mm: float | None
    standard_error_mm: float | None
    interval_mm: tuple[float, float] | None

    @property
    def clear(self) -> bool:
        """Whether the interval leaves 0 out."""
        return self.interval_mm is not None and not self.interval_mm[0] <= 0.0 <= self.interval_mm[1]


@dataclass(frozen=True, slots=True)
class PositionError(Tabled):
    """How far out (+) the mark of a slide position is. [mm of slide]."""

    position: int
    error_mm: float
    standard_error_mm: float
    interval_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class PartialResidual(Tabled):
    """How sharp (+) a partial is by itself, in every position. [cent]."""

    partial: int
    residual_cents: float
    standard_error_cents: float
    interval_cents: tuple[float, float]


@dataclass(frozen=True, slots=True)
class NoteSetFit(Tabled):
    """A note set split into causes.

    Parameters
    ----------
    lengths : tuple of LengthError
        Main length first, then each wrap that was blown.
    positions : tuple of PositionError
        Marks that were judged.
    partials : tuple of PartialResidual
        Residuals of the partials; they sum to zero unless a reference partial was named.
    common_cents : float
        Mean of what air temperature and tester offsets were known to add, taken off before the fit. [cent]
    not_separable : tuple of str
        What this note set cannot tell apart, in words.
    rms_before_cents, rms_after_cents : float
        Spread of the notes about the tempered scale now, and once clear lengths and marks are put right.
    reading_sd, sitting_sd : float
        Spread of one reading and between sittings used for the intervals. [cent]
    freedom : float
        Degrees of freedom behind `reading_sd`; infinite when it was given or planned.
    sittings : int
        Sittings seen.
    used : tuple of int
        Readings (from 0) that entered; the others were placed by ear.
    left_out : tuple of int
        Readings (from 0) that stand so far apart from the rest that they were left out.
    residuals : tuple of float
        What the fit leaves of each reading of `used`, those left out included. [cent]
    planned_sd : bool
        No reading to spare: the planning value of the spread was used.
    """

    ROWS = "lengths"

    lengths: tuple[LengthError, ...]
    positions: tuple[PositionError, ...]
    partials: tuple[PartialResidual, ...]
    common_cents: float
    not_separable: tuple[str, ...]
    rms_before_cents: float
    rms_after_cents: float
    reading_sd: float
    sitting_sd: float
    freedom: float
    sittings: int
    used: tuple[int, ...]
    left_out: tuple[int, ...]
    residuals: tuple[float, ...]
    planned_sd: bool

    def length(self, part: str) -> LengthError:
        """Find a length by its part, `main` or `valve:NAME`.

        Raises
        ------
        KeyError
            The note set has no such part.
        """
        for length in self.lengths:
            if length.part == part:
                return length
        raise KeyError(part)


def fit_note_set(
    notes: Sequence[Note],
    instrument: Instrument,
    *,
    reading_sd: float | None = None,
    sitting_sd: float | None = None,
    reference_air_c: float = 20.0,
    tester_offsets: Mapping[str, float] | None = None,
    reference_partial: int | None = None,
) -> NoteSetFit:
    """Split a note set into main length, wraps, marks and partials by joint weighted least squares.

    Parameters
    ----------
    notes : sequence of Note
        Readings, raw against the tempered note.
    instrument : Instrument
        The model.
    reading_sd, sitting_sd : float, optional
        Known spread of one reading, and of a player from day to day (added once per sitting). Left out, they
        are estimated: from repeats and residuals, and from two sittings on. [cent]
    reference_air_c : float
        Temperature at which the instrument shall be in tune. [C]
    tester_offsets : mapping of str to float, optional
        How sharp each tester blows, from a shared reference instrument. [cent]
    reference_partial : int, optional
        Partial taken as true instead of the sum-to-zero convention.

    Returns
    -------
    NoteSetFit
        Causes with standard errors and 95 % intervals, and what cannot be separated.

    Raises
    ------
    TradeError
        A note that cannot be what was meant; it says which and proposes a mend.

    References
    ----------
    .. [1] Linear model of the air column, computed; coverage of the intervals simulated in the tests.

    Examples
    --------
    >>> from qc.trade.instrument import Valve
    >>> tenor = Instrument(2944.9, (Valve("F", 986.1),))
    >>> notes = [Note(2, 6.0), Note(4, 5.2), Note(2, -8.1, 1, ("F",)), Note(4, -9.3, 1, ("F",))]
    >>> fit = fit_note_set(notes, tenor, reading_sd=5.0)
    >>> round(fit.length("main").error_mm, 1), round(fit.length("valve:F").error_mm, 1)
    (-9.5, 29.3)
    """
    check_spreads(reading_sd, sitting_sd)
    used = _firm(notes, instrument)
    everything, notes = notes, [notes[index] for index in used]
    design = full = note_design(notes, instrument, reference_air_c, tester_offsets)
    blocks = block_numbers([f"{note.sitting}\n{note.tester}" if note.sitting else "" for note in notes])
    left_out = _standing_apart(separate(design).design, design.deviations, blocks, reading_sd)
    if left_out:
        design, blocks = _without(design, blocks, left_out)
    separation = separate(design, reference_partial)
    fit = fit_sittings(separation.design, design.deviations, blocks, reading_sd, sitting_sd)
    lengths, positions, partials = _parts(design, separation, fit, instrument)
    predicted, mended = _effects(full, design, separation, fit, lengths, positions)
    return NoteSetFit(
        lengths=lengths,
        positions=positions,
        partials=partials,
        common_cents=float(full.common.mean()),
        not_separable=separation_words(design, separation, everything, tester_offsets),
        rms_before_cents=_rms(full.deviations),
        rms_after_cents=_rms(full.deviations - mended),
        reading_sd=fit.reading_sd,
        sitting_sd=fit.sitting_sd,
        freedom=fit.residual_freedom,
        sittings=len({note.sitting for note in notes}),
        used=tuple(used),
        left_out=tuple(used[row] for row in left_out),
        residuals=tuple(float(value) for value in full.deviations - predicted),
        planned_sd=reading_sd is None and math.isinf(fit.residual_freedom),
    )


def _firm(notes: Sequence[Note], instrument: Instrument) -> list[int]:
    """Check the notes and take those that were not placed by ear."""
    check_notes(notes, instrument)
    used = firm_notes(notes)
    if not used:
        raise TradeError(
            "every note was placed by ear, which says nothing about lengths",
            "Blow 1st position at the stop, other positions on a gauge block or mark",
            0,
            "method",
        )
    return used


def _standing_apart(design: Floats, y: Floats, blocks: Integers, reading_sd: float | None) -> list[int]:
    """Find readings that stand apart from the rest, worst first, by their externally studentised residual."""
    # sittings as they are, not as random: a day that is off must not make its readings stand apart
    full = np.column_stack([design, np.eye(blocks.max() + 1)[blocks]])
    left: list[int] = []
    while len(left) < math.floor(MOST_LEFT_OUT * len(y)):
        rows = np.array([row for row in range(len(y)) if row not in left])
        q, r, _ = np.linalg.svd(full[rows], full_matrices=False)
        q = q[:, r > 1e-9 * r.max()]
        freedom = len(rows) - q.shape[1]
        # chosen: with fewer to spare a residual says little of its own reading
        if freedom < 6:
            break
        residual = y[rows] - q @ (q.T @ y[rows])
        room = 1.0 - np.sum(q**2, axis=1)
        # A reading with hardly any room decides a parameter alone: nothing could show it to be wrong.
        usable = room > 0.05
        scaled = np.where(usable, residual**2 / np.where(usable, room, 1.0), 0.0)
        if reading_sd is None:
            variance = np.maximum((residual @ residual - scaled) / (freedom - 1), LEAST_VARIANCE)
            limit = stdtrit(freedom - 1, 1.0 - STANDS_APART_RISK / (2.0 * len(rows)))
        else:
            variance = np.full(len(rows), reading_sd**2)
            limit = stdtrit(1e9, 1.0 - STANDS_APART_RISK / (2.0 * len(rows)))
        worst = int(np.argmax(scaled / variance))
        if scaled[worst] <= limit**2 * variance[worst]:
            break
        left.append(int(rows[worst]))
    return left


def _without(design: NoteDesign, blocks: Integers, left_out: Sequence[int]) -> tuple[NoteDesign, Integers]:
    """Drop the readings, and the parameters that only they told."""
    kept = np.array([row not in left_out for row in range(len(blocks))])
    matrix = design.matrix[kept]
    used = np.any(matrix != 0.0, axis=0)
    names = tuple(name for name, use in zip(design.names, used, strict=True) if use)
    less = NoteDesign(names, matrix[:, used], design.deviations[kept], design.common[kept], design.unit_mm)
    return less, np.unique(blocks[kept], return_inverse=True)[1]


def _parts(
    design: NoteDesign, separation: Separation, fit: SittingFit, instrument: Instrument
) -> tuple[tuple[LengthError, ...], tuple[PositionError, ...], tuple[PartialResidual, ...]]:
    """Put the parameters into figures of the bench; what the notes cannot tell has none, not a wide one."""
    lengths: list[LengthError] = []
    positions: list[PositionError] = []
    partials: list[PartialResidual] = []
    for index, name in enumerate(design.names):
        kind, _, rest = name.partition(":")
        weights = separation.weights[index]
        unit = design.unit_mm if kind in {"main", "valve", "position"} else 1.0
        known = separation.separable[index]
        value = unit * float(weights @ fit.estimates)
        error = unit * fit.standard_error(weights)
        half = unit * fit.half_width(weights) if known and error > 0 else 0.0
        interval = (value - half, value + half)
        if kind in {"main", "valve"}:
            column = instrument.length_mm if kind == "main" else valve_column_mm(instrument, rest)
            figures = (value, error, interval) if known else (None, None, None)
            lengths.append(LengthError(name, column, *figures))
        elif kind == "position" and known:
            positions.append(PositionError(int(rest), value, error, interval))
        elif kind == "partial" and known and error > 0:
            partials.append(PartialResidual(int(rest), value, error, interval))
    return tuple(lengths), tuple(positions), tuple(partials)


def _effects(
    full: NoteDesign,
    design: NoteDesign,
    separation: Separation,
    fit: SittingFit,
    lengths: Sequence[LengthError],
    positions: Sequence[PositionError],
) -> tuple[Floats, Floats]:
    """Give what the fit says of every reading, and the part of it that clear lengths and marks make up."""
    clear = {length.part for length in lengths if length.clear}
    clear |= {
        f"position:{mark.position}"
        for mark in positions
        if not mark.interval_mm[0] <= 0.0 <= mark.interval_mm[1]
    }
    predicted = np.zeros(len(full.deviations))
    mended = np.zeros(len(full.deviations))
    for index, name in enumerate(design.names):
        effect = full.matrix[:, full.names.index(name)] * float(separation.weights[index] @ fit.estimates)
        predicted += effect
        if name in clear:
            mended += effect
    return predicted, mended


def _rms(values: Floats) -> float:
    return float(math.sqrt(float(values @ values) / len(values)))
