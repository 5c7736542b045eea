"""Notes as a person reads them: what to cut, where and in which order, then the lengths and the residuals."""

from __future__ import annotations

from collections.abc import Sequence

from qc.report.terminal.columns import Row, block, figures
from qc.trade import HeldNote, Sensitivity, TuningRemedy


def tune_text(remedy: TuningRemedy, learned: Sensitivity | None) -> str:
    """Say what to do to an instrument; `learned` is what a change already made has taught."""
    fit, steps = remedy.fit, remedy.order_of_work
    lines = [steps[0], *(f"{number}. {step}" for number, step in enumerate(steps[1:], 2)), ""]
    lines += figures(_length_rows(remedy), "<>>>>>><")
    if fit.partials:
        rows: list[Row] = [("partial", "cents", "from", "to", "  (residuals sum to zero)")]
        for partial in fit.partials:
            rows.append((str(partial.partial), *_tenths(partial.residual_cents, *partial.interval_cents)))
        lines += ["", *figures(rows, "<>>><")]
    lines += [
        "",
        f"Spread of the notes {fit.rms_before_cents:.1f} cents now, {remedy.rms_after_cents:.1f} after the "
        f"work",
        f"One reading scatters by {fit.reading_sd:.1f} cents; known common offset {fit.common_cents:+.1f} "
        f"cents",
    ]
    if learned is not None:
        lines.append(
            f"Learned from the last change: {learned.part} answers {learned.share:.2f} of the computed "
            f"(+- {learned.standard_error:.2f})"
        )
    lines += block("Cannot be told apart", fit.not_separable) + block("Cautions", remedy.cautions)
    return "\n".join(lines)


def recording_text(name: str, notes: Sequence[HeldNote]) -> str:
    """Say what was held in a recording, one line a note."""
    lines = [f"{name}: {len(notes)} held notes"]
    for note in notes:
        place = f"{note.start_s:6.2f} to {note.end_s:6.2f} s"
        if note.refused or note.cents is None or note.spread_cents is None:
            lines.append(f"  {place}  refused: {note.refused}")
        else:
            lines.append(
                f"  {place}  {note.note:8} {note.cents:+6.1f} cents (spread {note.spread_cents:.1f})"
            )
    return "\n".join(lines)


def _length_rows(remedy: TuningRemedy) -> list[Row]:
    """Every length with its error, its interval and what to do, then the marks of the slide."""
    rows: list[Row] = [("part", "error mm", "from", "to", "change", "per leg", "first", "  do")]
    for length in remedy.lengths:
        if length.error_mm is None or length.interval_mm is None:
            rows.append((length.part, "not known"))
            continue
        error = _tenths(length.error_mm, *length.interval_mm)
        change = _tenths(length.change_mm, length.per_leg_mm, length.first_cut_mm)
        do = "leave" if length.action == "none" else f"{length.action} by {length.by}"
        rows.append((length.part, *error, *change, f"  {do}"))
    for mark in remedy.fit.positions:
        rows.append((f"mark {mark.position}", *_tenths(mark.error_mm, *mark.interval_mm)))
    return rows


def _tenths(*found: float) -> Row:
    return tuple(f"{figure:.1f}" for figure in found)
