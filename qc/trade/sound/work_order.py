"""The order of work on an instrument's tuning, in the words a bench reads first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.sound.acoustics import CENTS_PER_NEPER
from qc.trade.sound.separation import part_words
from qc.trade.sound.tuning import NoteSetFit, PartialResidual

NOT_CURABLE = "not curable by a cut: look at leadpipe, bell, dents and leaks"
"""What to say of a partial that is off in every position."""


SAID_FROM_MM = 0.1
"""A change nearer than this to the exact one says nothing of it: no bench cuts finer (planning value)."""

COARSE_FROM_CENTS = 12.0
"""Where a length may be off by more, "nothing to do" says so: a note's usual limit and a little (planning
value)."""

SEEN_FROM_CENTS = 1.0
"""A first step that moves the notes by less is not seen again: tuners read to a cent (planning value)."""


@dataclass(frozen=True, slots=True)
class LengthRemedy(Tabled):
    """What is wrong with a length, and what to do.

    Parameters
    ----------
    part : str
        `main` or `valve:NAME`.
    error_mm, standard_error_mm, interval_mm : float or None
        What is there, + = too long; None where the note set cannot tell. [mm of tube]
    action : str
        `remove`, `add` or `none`.
    by : str
        `slide` where the tuning slide can do it, else `cut`.
    change_mm : float
        Tube to add; negative = remove. [mm]
    per_leg_mm : float
        Share of each leg, or movement of the slide. [mm]
    first_cut_mm : float
        The change at the cautious end of the interval: do this first, then test again. [mm]
    exact_change_mm : float
        `change_mm` without the approximation: the fit is of first order in the length. [mm]
    """

    part: str
    error_mm: float | None
    standard_error_mm: float | None
    interval_mm: tuple[float, float] | None
    action: str
    by: str
    change_mm: float
    per_leg_mm: float
    first_cut_mm: float
    exact_change_mm: float

    @property
    def near_mm(self) -> float:
        """How near the change is: some change squared over the length of the column. [mm]."""
        return abs(self.exact_change_mm - self.change_mm)


def order_of_work(
    fit: NoteSetFit,
    lengths: Sequence[LengthRemedy],
    apart: PartialResidual | None = None,
    excused: Sequence[str] = (),
    differ: tuple[str, str, float] | None = None,
    blown: Mapping[int, Sequence[int]] | None = None,
) -> tuple[str, ...]:
    """Put the work in order: what to learn first, main length, wraps, marks, then what no cut cures.

    `blown` gives the positions that each partial was blown in: what is off in one is not off in every one.
    """
    steps = []
    if differ is not None:
        sharper, flatter, cents = differ
        steps.append(
            f"Testers {sharper} and {flatter} differ by {cents:.0f} cents on the same notes: no cut until "
            "both have blown the shared reference instrument (--reference FILE), which tells them apart"
        )
    unknown = [length.part for length in lengths if length.error_mm is None]
    if unknown:
        steps.append(
            f"Blow more notes before any cut: {' and '.join(part_words(part) for part in unknown)} cannot be "
            "judged yet (see what cannot be told apart)"
        )
    for length in lengths:
        if length.action != "none":
            steps.append(_length_step(length, _column_mm(fit, length.part)) + _nearness(length))
    steps += [
        f"The {part_words(part)} figure comes from partial {apart.partial} alone: leave the length as it is"
        for part in excused
        if apart is not None
    ]
    for mark in fit.positions:
        if not mark.interval_mm[0] <= 0.0 <= mark.interval_mm[1]:
            way = "in" if mark.error_mm > 0 else "out"
            steps.append(f"Move the mark of position {mark.position} {way} by {abs(mark.error_mm):.0f} mm")
    if apart is not None:
        steps.append(_partial_step(apart, (blown or {}).get(apart.partial, ())))
    if not steps:
        steps.append(f"Nothing to do: no length is clearly off{_coarse(fit, lengths)}")
    elif any(length.action != "none" for length in lengths):
        steps.append("Warm the instrument, blow the same notes again, compute the next step from both sets")
    return tuple(steps)


def _column_mm(fit: NoteSetFit, part: str) -> float:
    """Give the column a part is judged on; that of the open instrument where the fit knows no other."""
    return next((one.column_mm for one in fit.lengths if one.part == part), fit.lengths[0].column_mm)


def _length_step(length: LengthRemedy, column_mm: float) -> str:
    """Say one step with the cautious part first, in the way it is done: pull, push, cut or add."""
    change, first, leg = abs(length.change_mm), abs(length.first_cut_mm), abs(length.per_leg_mm)
    name = part_words(length.part)
    # what is cut in all is the exact length: of a large error the first order leaves a millimetre
    exact = leg * abs(length.exact_change_mm) / change
    first_leg, whole_leg = _tenths(first * leg / change), _tenths(exact)
    low, high = sorted(abs(end) for end in length.interval_mm or (0.0, 0.0))
    state = "long" if length.action == "remove" else "short"
    # what moves the notes by less than a cent is gone in the next reading, whatever was moved
    seen_mm = SEEN_FROM_CENTS * column_mm / CENTS_PER_NEPER
    first_is_seen = first >= seen_mm
    found = f"{name[0].upper()}{name[1:]} about {change:.0f} mm {state} ({low:.0f} to {high:.0f})"
    # a tuner that reads to a cent shows nothing of less than half a one
    if change < seen_mm / 2:
        return f"{found}: less than a tuner shows, leave it"
    if length.by == "slide":
        whose = "" if length.part == "main" else f" of the {length.part.partition(':')[2]} wrap"
        push, way = ("push", "in") if length.action == "remove" else ("pull", "out")
        if first_is_seen:
            step = f"{push} the tuning slide{whose} {way} {first_leg} mm, re-test; {whole_leg} mm in all"
        else:
            # a slide goes back where it was, so the likeliest length is tried and not the least
            step = (
                f"{push} the tuning slide{whose} {way} {whole_leg} mm, re-test, and set it back if it is "
                "worse"
            )
        if length.part == "main" and length.action == "remove":
            step += "; cut only what the slide cannot take"
        return f"{found}: {step}"
    do, at = ("take", "off") if length.action == "remove" else ("add", "to")
    if first_is_seen:
        return f"{found}: {do} {first_leg} mm {at} each leg, re-test; {whole_leg} mm {at} each leg in all"
    return (
        f"{found}: the part of it that is sure is too little to be seen on a tuner. Blow the set once more "
        f"before anything is cut; as it stands it would be {whole_leg} mm {at} each leg"
    )


def _nearness(length: LengthRemedy) -> str:
    """Say the exact length beside that of the fit, where a bench could cut finer than they differ."""
    if length.near_mm < SAID_FROM_MM:
        return ""
    exact, near = abs(length.exact_change_mm), abs(length.change_mm)
    return f" ({exact:.1f} mm of tube by the exact formula, {near:.1f} to first order)"


def _partial_step(apart: PartialResidual, positions: Sequence[int]) -> str:
    """Say which partial stands apart, in which positions, and what that leaves to look at."""
    way = "sharp" if apart.residual_cents > 0 else "flat"
    low, high = sorted(abs(end) for end in apart.interval_cents)
    found = (
        f"Partial {apart.partial} is {abs(apart.residual_cents):.0f} cents {way} ({low:.0f} to {high:.0f})"
    )
    if len(positions) == 1:
        return (
            f"{found} in position {positions[0]}, the only one it was blown in: blow it in others; if it is "
            f"{way} there too, it is {NOT_CURABLE}"
        )
    where = f"every position it was blown in ({', '.join(str(p) for p in positions)})"
    return f"{found} in {where if positions else 'every position'}: {NOT_CURABLE}"


def _coarse(fit: NoteSetFit, lengths: Sequence[LengthRemedy]) -> str:
    """Say what a note set that shows nothing could not have shown either."""
    known = [(max(abs(end) for end in one.interval_mm), one.part) for one in lengths if one.interval_mm]
    widest, part = max(known, default=(0.0, ""))
    if CENTS_PER_NEPER * widest < COARSE_FROM_CENTS * _column_mm(fit, part):
        return ""
    return (
        f". These notes are too few to see much: the {part_words(part)} may still be off by up to "
        f"{widest:.0f} mm. Blow more of them, on another day too"
    )


def _tenths(mm: float) -> str:
    """Write a length for the bench: whole millimetres, tenths where a whole one would say too little."""
    return f"{mm:.0f}" if mm >= 3.0 else f"{max(mm, 0.1):.1f}"
