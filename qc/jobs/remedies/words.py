"""Remedies in words: the sentence a technician needs first, then the tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.jobs.remedies.coat import CoatResult
    from qc.jobs.remedies.pair import PairResult, TubeRun
    from qc.jobs.remedies.tune import TuneResult
    from qc.jobs.remedies.wear import ToolWear, WearResult


def tune_text(result: TuneResult) -> str:
    """Write a tuning remedy."""
    remedy, fit = result.remedy, result.remedy.fit
    steps = remedy.order_of_work
    lines = [steps[0], *[f"{number}. {step}" for number, step in enumerate(steps[1:], 2)], ""]
    lines.append(_row("part", ["error mm", "from", "to", "change", "per leg", "first"], "do"))
    for length in remedy.lengths:
        if length.error_mm is None or length.interval_mm is None:
            lines.append(_row(length.part, ["not known"]))
            continue
        figures = [length.error_mm, *length.interval_mm]
        figures += [length.change_mm, length.per_leg_mm, length.first_cut_mm]
        do = "leave" if length.action == "none" else f"{length.action} by {length.by}"
        lines.append(_row(length.part, [f"{figure:.1f}" for figure in figures], do))
    for mark in fit.positions:
        figures = [mark.error_mm, *mark.interval_mm]
        lines.append(_row(f"mark {mark.position}", [f"{figure:.1f}" for figure in figures]))
    if fit.partials:
        lines += ["", _row("partial", ["cents", "from", "to"], "(residuals sum to zero)")]
        for partial in fit.partials:
            figures = [partial.residual_cents, *partial.interval_cents]
            lines.append(_row(str(partial.partial), [f"{figure:.1f}" for figure in figures]))
    lines += [
        "",
        f"Spread of the notes {fit.rms_before_cents:.1f} cents now, {remedy.rms_after_cents:.1f} after the "
        f"work",
        f"One reading scatters by {fit.reading_sd:.1f} cents; known common offset {fit.common_cents:+.1f} "
        f"cents",
    ]
    if result.learned is not None:
        learned = result.learned
        lines.append(
            f"Learned from the last change: {learned.part} answers {learned.share:.2f} of the computed "
            f"(+- {learned.standard_error:.2f})"
        )
    lines += _block("Cannot be told apart", fit.not_separable) + _block("Cautions", remedy.cautions)
    return "\n".join(lines)


def pair_text(result: PairResult) -> str:
    """Write a pairing."""
    pairing = result.pairing
    total = len(pairing.pairs)
    lines = [
        f"{pairing.inside} of {total} pairs lie wholly within {result.lower_um:g} to {result.upper_um:g} um"
        + ("" if pairing.inside == total else "; fit those first and look at the rest below"),
        "",
        _row("inner", ["outer", "least um", "mean um", "greatest"]),
    ]
    for pair in pairing.pairs:
        figures = [f"{figure:.1f}" for figure in (pair.least_um, pair.mean_um, pair.greatest_um)]
        lines.append(_row(pair.inner, [pair.outer, *figures], "" if pair.inside else "outside"))
    for tube in (*pairing.left_inner, *pairing.left_outer):
        mate = "bore" if tube.side == "inner" else "stocking"
        lines.append(
            f"{tube.name} is left: it wants a {mate} of {tube.wanted_mm:.3f} mm; nearest {tube.nearest}, "
            f"{tube.nearest_off_um:+.0f} um off target: {_mend(tube.side, tube.nearest_off_um)}"
        )
    if result.random_share is not None and result.best_share is not None:
        lines.append(
            f"Expected within limits: {result.random_share:.0%} taken at random, {result.best_share:.0%} "
            f"paired"
        )
    lines += [
        "",
        "Pairing hides a drifting die: these are the tubes before pairing, in the order of the file",
    ]
    lines += [_run_line(result.inner_run), _run_line(result.outer_run)]
    return "\n".join(lines)


def wear_text(result: WearResult) -> str:
    """Write the forecasts, the tool to change first at the top."""
    ordered = sorted(result.tools, key=_urgency)
    lines = [_wear_sentence(tool) for tool in ordered]
    lines += ["", _row("tool", ["pieces", "per 100", "from", "to", "limit", "crossing", "change by"])]
    for tool in ordered:
        line = tool.line
        if line is None:
            lines.append(_row(tool.tool or "(all)", [str(tool.n)]))
            continue
        slopes = [f"{100 * slope:.4g}" for slope in (line.slope, *line.slope_interval)]
        crossing = "-" if line.line_crossing is None else f"{line.line_crossing[0]:.0f}"
        limit = "-" if line.limit is None else f"{line.limit:g}"
        change = "-" if line.change_by_count is None else str(line.change_by_count)
        lines.append(_row(tool.tool or "(all)", [str(tool.n), *slopes, limit, crossing, change]))
    for tool in ordered:
        lines += [f"{tool.tool or 'tool'}: {warning}" for warning in tool.warnings]
    return "\n".join(lines + _block("Cautions", result.cautions))


def coat_text(result: CoatResult) -> str:
    """Write the judgement of a lacquer sheet."""
    thinnest = min(result.areas, key=lambda area: area.least)
    passed = sum(rule.passes for rule in result.rules.values())
    if thinnest.least < result.lower_um:
        first = (
            f"{thinnest.area} is too thin: least spot {thinnest.least:.1f} um, limit {result.lower_um:g} um; "
        )
        first += "measure it again, then strip and spray again"
    elif passed < len(result.rules):
        first = f"House rule failed, though no spot is below the limit; thinnest is {thinnest.area}"
    else:
        first = f"Thick enough everywhere; thinnest is {thinnest.area}, {thinnest.least:.1f} um"
    lines = [first, "", _row("area", ["spots", "mean um", "least", "below"], "house rule")]
    for area in result.areas:
        verdict = "pass" if result.area_passes[area.area] else "fail"
        figures = [str(area.n), f"{area.mean:.1f}", f"{area.least:.1f}", str(area.below_nominal)]
        lines.append(_row(area.area, figures, verdict))
    if result.cpl is not None and result.interval is not None:
        lines.append(
            f"Capability at the lower limit {result.cpl:.2f} "
            f"({result.interval[0]:.2f} to {result.interval[1]:.2f}, 95 %)"
        )
    if result.base_drift_um is not None:
        lines.append(f"Bare-metal reading moved by {result.base_drift_um:+.1f} um")
    return "\n".join(lines + _block("Cautions", result.cautions))


def _row(name: str, cells: Sequence[str], end: str = "") -> str:
    return f"{name:14}" + "".join(f"{cell:>11}" for cell in cells) + (f"  {end}" if end else "")


def _block(title: str, sentences: tuple[str, ...]) -> list[str]:
    return ["", f"{title}:", *[f"- {sentence}" for sentence in sentences]] if sentences else []


def _mend(side: str, off_um: float) -> str:
    """Say which die would mend a leftover tube, and by how much."""
    tool = "the outers' mandrel" if side == "inner" else "the inners' die"
    smaller = off_um > 0 if side == "inner" else off_um < 0
    return f"{tool} {abs(off_um):.0f} um {'smaller' if smaller else 'larger'}, or keep it for the next lot"


def _run_line(run: TubeRun) -> str:
    mean = sum(run.means_mm) / len(run.means_mm)
    drift = (
        f", DRIFTING by {run.drift_um:+.1f} um from first to last: look at its die" if run.drifting else ""
    )
    return f"{run.side:6} n {len(run.names)}, mean {mean:.4f} mm, sd {run.sd_um:.1f} um{drift}"


def _urgency(tool: ToolWear) -> float:
    if tool.line is None or tool.line.change_by_count is None:
        return float("inf")
    return tool.line.change_by_count - tool.line.last_count


def _wear_sentence(tool: ToolWear) -> str:
    name = tool.tool or "The tool"
    if tool.line is None or tool.line.change_by_count is None:
        return (
            f"{name}: no change to plan by count ({tool.warnings[0]})"
            if tool.warnings
            else f"{name}: no limit"
        )
    left = tool.line.change_by_count - tool.line.last_count
    if left < 0:
        return f"{name}: change now; it was due at count {tool.line.change_by_count}"
    when = f", about {tool.change_by_date:%Y-%m-%d}" if tool.change_by_date else ""
    return f"{name}: change by count {tool.line.change_by_count} ({left:.0f} left{when})"
