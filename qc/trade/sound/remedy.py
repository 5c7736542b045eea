"""From the causes of a note set to what to do: how much, where, in which order, and what no cut can cure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from qc.stats import Tabled
from qc.trade.cautions import cautions_for
from qc.trade.instrument import Instrument
from qc.trade.sound.acoustics import CENTS_PER_NEPER
from qc.trade.sound.cut import length_change_mm
from qc.trade.sound.note_set import Note, slide_settings
from qc.trade.sound.testers import differing_testers
from qc.trade.sound.tuning import LengthError, NoteSetFit, PartialResidual, fit_note_set
from qc.trade.sound.work_order import LengthRemedy, order_of_work

USUAL_TRAVEL_MM = 60.0
"""Movement a tuning slide usually has where nothing is recorded: common practice, no source."""

PARTIAL_ALLOWANCE_CENTS = 5.0
"""A partial clear of 0 but within this is left alone: planning value, common practice, no source."""


@dataclass(frozen=True, slots=True)
class TuningRemedy(Tabled):
    """The remedy of a note set: `fit` says what is there, the rest what to do."""

    ROWS = "lengths"

    fit: NoteSetFit
    lengths: tuple[LengthRemedy, ...]
    rms_after_cents: float
    order_of_work: tuple[str, ...]
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, object]:
        """Give the remedy in the agreed shape of `qc tune`."""
        fit = self.fit
        return {
            "lengths": [length.to_dict() for length in self.lengths],
            "positions": [_without_interval(mark) for mark in fit.positions],
            "partials": [_without_interval(partial) for partial in fit.partials],
            "common_cents": fit.common_cents,
            "not_separable": list(fit.not_separable),
            "rms_before_cents": fit.rms_before_cents,
            "rms_after_cents": self.rms_after_cents,
            "order_of_work": list(self.order_of_work),
            "cautions": list(self.cautions),
        }


def tuning_remedy(
    notes: Sequence[Note],
    instrument: Instrument,
    *,
    reading_sd: float | None = None,
    sitting_sd: float | None = None,
    reference_air_c: float = 20.0,
    tester_offsets: Mapping[str, float] | None = None,
    sensitivity: Mapping[str, float] | None = None,
) -> TuningRemedy:
    """Say what to do about a note set, cautiously and in order.

    Parameters
    ----------
    notes, instrument, reading_sd, sitting_sd, reference_air_c, tester_offsets
        As for `fit_note_set`.
    sensitivity : mapping of str to float, optional
        Learned answer of a part to a change, as a share of the computed one (see `learn_sensitivity`).

    Returns
    -------
    TuningRemedy
        Fit, remedies, order of work and cautions.

    Raises
    ------
    TradeError
        A note that cannot be what was meant.

    References
    ----------
    .. [1] Exact cut L (2^(d/1200) - 1) on the whole air column, trade note section 1.6. Computed.

    Examples
    --------
    >>> from qc.trade.instrument import Valve
    >>> tenor = Instrument(2944.9, (Valve("F", 986.1),))
    >>> notes = [Note(n, 0.0) for n in (2, 4, 8)] * 40 + [Note(n, -12.0, 1, ("F",)) for n in (2, 4, 8)] * 2
    >>> wrap = tuning_remedy(notes, tenor, reading_sd=5.0).lengths[1]
    >>> wrap.action, round(wrap.change_mm, 2), round(wrap.per_leg_mm, 2)
    ('remove', -27.15, -13.58)
    """
    fitted = partial(
        fit_note_set,
        instrument=instrument,
        reading_sd=reading_sd,
        sitting_sd=sitting_sd,
        reference_air_c=reference_air_c,
        tester_offsets=tester_offsets,
    )
    fit = fitted(notes)
    apart = partial_apart(fit)
    without = None
    # a length that is clear only because of one bad partial must not be cut: it has to be clear without it
    if apart is not None and len(fit.partials) > 2:
        without = fitted([note for note in notes if note.partial != apart.partial])
    shares = sensitivity or {}
    # whose pitch is right no note of this instrument can tell, and the cut would follow the one or the other
    differ = None if tester_offsets is not None else differing_testers(notes, reading_sd)
    lengths, excused = [], []
    for length in fit.lengths:
        acts = length.clear and (without is None or _still_clear(without, length.part))
        if length.clear and not acts:
            excused.append(length.part)
        acts = acts and differ is None
        share = shares.get(length.part, 1.0)
        room, true = _room(length, notes, instrument), _true_error(length, fit.length("main"))
        lengths.append(_remedy(length, instrument, acts, room, share, true))
    acting = {length.part for length in lengths if length.action != "none"}
    # the fit counts an excused length as mended: nothing is promised then
    after = fit.rms_before_cents if excused or differ else fit.rms_after_cents
    order = order_of_work(fit, lengths, apart, excused, differ, _positions(notes, fit.used))
    return TuningRemedy(fit, tuple(lengths), after, order, _cautions(fit, lengths, acting))


def partial_apart(fit: NoteSetFit) -> PartialResidual | None:
    """Find the partial that stands furthest from 0, if that is beyond chance and worth looking at."""
    if not fit.partials:
        return None
    worst = max(fit.partials, key=lambda partial: abs(partial.residual_cents))
    half = worst.interval_cents[1] - worst.residual_cents
    # The furthest of several needs a wider margin than any one named beforehand.
    # chosen: within 3 % of the Bonferroni quantile for two to ten partials
    margin = half * math.sqrt(1.0 + math.log(len(fit.partials)) / 2.0)
    return worst if abs(worst.residual_cents) > max(margin, PARTIAL_ALLOWANCE_CENTS) else None


def _without_interval(found: Tabled) -> dict[str, object]:
    return {name: value for name, value in found.to_dict().items() if not name.startswith("interval")}


def _positions(notes: Sequence[Note], used: Sequence[int]) -> dict[int, list[int]]:
    """Give the positions that each partial was blown in, of the readings that count."""
    found: dict[int, set[int]] = {}
    for index in used:
        found.setdefault(notes[index].partial, set()).add(notes[index].position)
    return {partial: sorted(positions) for partial, positions in found.items()}


def _still_clear(fit: NoteSetFit, part: str) -> bool:
    return any(length.part == part and length.clear for length in fit.lengths)


def _remedy(
    length: LengthError, instrument: Instrument, acts: bool, room_mm: float, share: float, true_mm: float
) -> LengthRemedy:
    """Turn one length error into a change; what is left alone keeps its figures, since a bench asks why.

    `true_mm` is the error without the approximation of the fit.
    """
    told = length.part, length.error_mm, length.standard_error_mm, length.interval_mm
    if not acts or length.error_mm is None or length.interval_mm is None:
        return LengthRemedy(*told, "none", "slide" if length.part == "main" else "cut", 0.0, 0.0, 0.0, 0.0)
    change = _exact(length.error_mm, length.column_mm) / share
    # the end nearer to 0: what is cut is gone, and the next test tells the rest
    cautious = min(length.interval_mm, key=abs)
    legs = 2
    if length.part != "main":
        legs = instrument.valve(length.part.partition(":")[2]).legs
    # two legs move, so the slide gives twice its movement
    by = "slide" if abs(change) <= 2.0 * room_mm else "cut"
    leg, first = change / (2 if by == "slide" else legs), _exact(cautious, length.column_mm) / share
    return LengthRemedy(*told, "remove" if change < 0 else "add", by, change, leg, first, -true_mm / share)


def _exact(error_mm: float, column_mm: float) -> float:
    """Give the exact change for a linear length error: back to cents, then through the exact formula."""
    return length_change_mm(column_mm, -CENTS_PER_NEPER * error_mm / column_mm)


def _true_error(length: LengthError, main: LengthError) -> float:
    """Undo the first order of the fit: cents go with the logarithm of the length. [mm].

    A wrap is blown with the main length behind it, whose error the same column holds.
    """
    error, column = length.error_mm or 0.0, length.column_mm
    if length.part == "main":
        return column * math.expm1(error / column)
    before = main.error_mm or 0.0
    both = column * math.expm1((before + error) / column)
    return both - main.column_mm * math.expm1(before / main.column_mm)


def _room(length: LengthError, notes: Sequence[Note], instrument: Instrument) -> float:
    """Give the slide movement there is for the change, in mm: what is recorded, else what is usual."""
    too_long = (length.error_mm or 0.0) > 0.0
    main_at, wraps_at = slide_settings(notes)
    if length.part == "main":
        recorded = any(note.main_out_mm is not None for note in notes)
        if too_long:
            return main_at if recorded else USUAL_TRAVEL_MM
        travel = instrument.tuning_slide_travel_mm
        return max(0.0, (USUAL_TRAVEL_MM if travel is None else travel) - main_at)
    name = length.part.partition(":")[2]
    settings = [wraps_at[n.valves] for n in notes if name in n.valves and n.wrap_out_mm is not None]
    # A wrap is cut unless its slide is known to stand out; to lengthen it the slide is pulled first.
    out = max(settings, default=0.0)
    return out if too_long else max(0.0, USUAL_TRAVEL_MM - out)


def _cautions(fit: NoteSetFit, lengths: Sequence[LengthRemedy], acting: set[str]) -> tuple[str, ...]:
    """Say what the figures do not hold: a bench must not take an interval for more than it is."""
    notes = [
        "Partial residuals are taken to sum to zero: one partial far off shifts the main length by its share",
    ]
    if fit.sittings < 2 and fit.sitting_sd > 0:
        notes.append(
            "One sitting only: its usual spread is inside the intervals, but the figures carry that one "
            "day. Blow the set again on another day"
        )
    elif fit.sittings < 2:
        notes.append(
            "One sitting only: the player's day is inside the figures but not inside the intervals. Blow the "
            "set again on another day, or give the usual day-to-day spread with --sitting-sd"
        )
    if fit.planned_sd:
        notes.append(
            f"No reading to spare: a spread of {fit.reading_sd:.0f} cents a reading was assumed "
            "(planning value)"
        )
    if fit.left_out:
        rows = ", ".join(str(index + 1) for index in fit.left_out)
        notes.append(f"Reading {rows} stands far apart from the rest and was left out: blow it again")
    stages = ["tuning"]
    if any(length.part in acting and length.by == "cut" and length.action == "remove" for length in lengths):
        stages.append("cutting")
    if any(length.action == "add" and length.by == "cut" for length in lengths):
        stages.append("adding")
    return (*notes, *cautions_for(*stages))
