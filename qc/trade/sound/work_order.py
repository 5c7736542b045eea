"""The order of work on an instrument's tuning, in the words a bench reads first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.stats import Tabled
from qc.trade.sound.separation import part_words
from qc.trade.sound.tuning import NoteSetFit, PartialResidual

NOT_CURABLE = "not curable by a cut: look at leadpipe, bell, dents and leaks"
"""What to say of a partial that is off in every position."""


SAID_FROM_MM = 0.1
"""A change nearer than this to the exact one says nothing of it: no bench cuts finer (planning value)."""


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
) -> tuple[str, ...]:
    """Put the work in order: what to learn first, main length, wraps, marks, then what no cut cures."""
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
            steps.append(_length_step(length) + _nearness(length))
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
        way = "sharp" if apart.residual_cents > 0 else "flat"
        low, high = sorted(abs(end) for end in apart.interval_cents)
        steps.append(
            f"Partial {apart.partial} is {abs(apart.residual_cents):.0f} cents {way} ({low:.0f} to "
            f"{high:.0f}) in every position: {NOT_CURABLE}"
        )
    if not steps:
        steps.append("Nothing to do: no length is clearly off")
    elif any(length.action != "none" for length in lengths):
        steps.append("Warm the instrument, blow the same notes again, compute the next step from both sets")
    return tuple(steps)


def _length_step(length: LengthRemedy) -> str:
    """Say one step with the cautious part first, in the way it is done: pull, push, cut or add."""
    change, first, leg = abs(length.change_mm), abs(length.first_cut_mm), abs(length.per_leg_mm)
    name = part_words(length.part)
    first_leg = _tenths(first * leg / change)
    low, high = sorted(abs(end) for end in length.interval_mm or (0.0, 0.0))
    state = "long" if length.action == "remove" else "short"
    found = f"{name[0].upper()}{name[1:]} about {change:.0f} mm {state} ({low:.0f} to {high:.0f})"
    if length.by == "slide":
        whose = "" if length.part == "main" else f" of the {length.part.partition(':')[2]} wrap"
        push, way = ("push", "in") if length.action == "remove" else ("pull", "out")
        step = (
            f"{push} the tuning slide{whose} {way} {first_leg} mm first ({_tenths(leg)} mm in all), re-test"
        )
        if length.part == "main" and length.action == "remove":
            step += "; cut only what the slide cannot take"
        return f"{found}: {step}"
    if length.action == "remove":
        return f"{found}: take {first_leg} mm off each leg ({_tenths(leg)} mm each in all), re-test"
    return f"{found}: add {first_leg} mm to each leg ({_tenths(leg)} mm each in all), re-test"


def _nearness(length: LengthRemedy) -> str:
    """Say how near a change is, where a bench could cut finer."""
    if length.near_mm < SAID_FROM_MM:
        return ""
    return f" (a first-order figure, near to {length.near_mm:.1f} mm)"


def _tenths(mm: float) -> str:
    """Write a length for the bench: whole millimetres, tenths where a whole one would say too little."""
    return f"{mm:.0f}" if mm >= 3.0 else f"{max(mm, 0.1):.1f}"
