"""Remedies as a person reads them: what to do first in a sentence, then the figures it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from qc.report.terminal.columns import Row, block, figures
from qc.trade import AreaThickness, HeldNote, HouseRule, Pairing, Sensitivity, TuningRemedy, WearLine

Run = tuple[str, Sequence[float], float, float | None]
"""Side, mean diameters in the order of the file [mm], their spread and, where clear, their drift [um]."""

Forecast = tuple[str, int, WearLine | None, date | None, Sequence[str]]
"""Name of the tool, pieces, its line, the day to change it by, and what to know before believing it."""


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


def taken_text(text: str, taken: Sequence[str]) -> str:
    """Add to an answer where its figures come from: which line of a card, whose plan."""
    return "\n".join([text, *block("Taken", taken)]) if taken else text


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


def pair_text(
    pairing: Pairing, limits: tuple[float, float], runs: Sequence[Run], shares: Sequence[float | None]
) -> str:
    """Say what goes into what; `limits` of the clearance in um, `shares` expected within them.

    The shares are those of tubes taken at random and of tubes paired; None where they cannot be told.
    """
    total = len(pairing.pairs)
    rows = [("inner", "outer", "least um", "mean um", "greatest", "")]
    for pair in pairing.pairs:
        least, mean, most = f"{pair.least_um:.1f}", f"{pair.mean_um:.1f}", f"{pair.greatest_um:.1f}"
        rows.append((pair.inner, pair.outer, least, mean, most, "" if pair.inside else "  outside"))
    lines = [
        f"{pairing.inside} of {total} pairs lie wholly within {limits[0]:g} to {limits[1]:g} um"
        + ("" if pairing.inside == total else "; fit those first and look at the rest below"),
        "",
        *figures(rows, "<>>>><"),
    ]
    for tube in (*pairing.left_inner, *pairing.left_outer):
        mate = "bore" if tube.side == "inner" else "stocking"
        lines.append(
            f"{tube.name} is left: it wants a {mate} of {tube.wanted_mm:.3f} mm; nearest {tube.nearest}, "
            f"{tube.nearest_off_um:+.0f} um off target: {_mend(tube.side, tube.nearest_off_um)}"
        )
    random, best = shares
    if random is not None and best is not None:
        lines.append(f"Expected within limits: {random:.0%} taken at random, {best:.0%} paired")
    lines += [
        "",
        "Pairing hides a drifting die: these are the tubes before pairing, in the order of the file",
    ]
    return "\n".join(lines + [_run_line(*run) for run in runs])


def _mend(side: str, off_um: float) -> str:
    """Say which die would mend a leftover tube, and by how much."""
    tool = "the outers' mandrel" if side == "inner" else "the inners' die"
    smaller = off_um > 0 if side == "inner" else off_um < 0
    return f"{tool} {abs(off_um):.0f} um {'smaller' if smaller else 'larger'}, or keep it for the next lot"


def _run_line(side: str, means_mm: Sequence[float], sd_um: float, drift_um: float | None) -> str:
    mean = sum(means_mm) / len(means_mm)
    said = f"{side:6} n {len(means_mm)}, mean {mean:.4f} mm, sd {sd_um:.1f} um"
    if drift_um is not None:
        said += f", DRIFTING by {drift_um:+.1f} um from first to last: look at its die"
    return said


def wear_text(tools: Sequence[Forecast], cautions: Sequence[str]) -> str:
    """Say when each tool has to be changed."""
    ordered = sorted(tools, key=_urgency)
    rows: list[Row] = [("tool", "pieces", "per 100", "from", "to", "limit", "crossing", "change by")]
    rows += [_wear_row(*tool[:3]) for tool in ordered]
    lines = [*(_wear_sentence(tool) for tool in ordered), "", *figures(rows)]
    for name, *_, warnings in ordered:
        lines += [f"{name or 'tool'}: {warning}" for warning in warnings]
    return "\n".join(lines + block("Cautions", cautions))


def _urgency(tool: Forecast) -> float:
    line = tool[2]
    if line is None or line.change_by_count is None:
        return float("inf")
    left = line.change_by_count - line.last_count
    # what does not wear, as far as one can tell, comes after all that does, unless its next piece is at risk
    return left if line.proven or left < 0 else float("inf")


def _wear_row(name: str, pieces: int, line: WearLine | None) -> Row:
    if line is None:
        return name or "(all)", str(pieces)
    slopes = (f"{100 * slope:.4g}" for slope in (line.slope, *line.slope_interval))
    limit = "-" if line.limit is None else f"{line.limit:g}"
    crossing = "-" if line.line_crossing is None else f"{line.line_crossing[0]:.0f}"
    change = "-" if line.change_by_count is None else str(line.change_by_count)
    return name or "(all)", str(pieces), *slopes, limit, crossing, change


def _wear_sentence(tool: Forecast) -> str:
    name, _, line, change_by_date, warnings = tool
    name = name or "The tool"
    if line is None or line.change_by_count is None:
        return f"{name}: no change to plan by count ({warnings[0]})" if warnings else f"{name}: no limit"
    left = line.change_by_count - line.last_count
    if not line.proven:
        # the count comes from the scatter of the pieces alone: it is no day to plan a change for
        inside = f"the next pieces stay inside to count {line.change_by_count}"
        risky = "the next piece may fall outside: measure every one"
        return f"{name}: no wear is proven yet, no change to plan; by the scatter of the pieces " + (
            inside if left >= 0 else risky
        )
    if left < 0:
        return f"{name}: change now; it was due at count {line.change_by_count}"
    when = f", about {change_by_date:%Y-%m-%d}" if change_by_date else ""
    return f"{name}: change by count {line.change_by_count} ({left:.0f} left{when})"


def coat_text(
    areas: Sequence[AreaThickness],
    rules: Mapping[str, HouseRule],
    passes: Mapping[str, bool],
    lower_um: float,
    capability: tuple[float | None, tuple[float, float] | None],
    base_drift_um: float | None,
    cautions: Sequence[str],
) -> str:
    """Say what a lacquer sheet holds, in um: house rules by serial, and whether they pass by area.

    `capability` is that at the lower limit, with its interval.
    """
    rows = [("area", "spots", "mean um", "least", "below", "  house rule")]
    for area in areas:
        mean, least = f"{area.mean:.1f}", f"{area.least:.1f}"
        verdict = "  pass" if passes[area.area] else "  fail"
        rows.append((area.area, str(area.n), mean, least, str(area.below_nominal), verdict))
    lines = [_thinnest(areas, rules, lower_um), "", *figures(rows, "<>>>><")]
    cpl, interval = capability
    if cpl is not None and interval is not None:
        lines.append(
            f"Capability at the lower limit {cpl:.2f} ({interval[0]:.2f} to {interval[1]:.2f}, 95 %)"
        )
    if base_drift_um is not None:
        lines.append(f"Bare-metal reading moved by {base_drift_um:+.1f} um")
    return "\n".join(lines + block("Cautions", cautions))


def _thinnest(areas: Sequence[AreaThickness], rules: Mapping[str, HouseRule], lower_um: float) -> str:
    thinnest = min(areas, key=lambda area: area.least)
    if thinnest.least < lower_um:
        return (
            f"{thinnest.area} is too thin: least spot {thinnest.least:.1f} um, limit {lower_um:g} um; "
            "measure it again, then strip and spray again"
        )
    if not all(rule.passes for rule in rules.values()):
        return f"House rule failed, though no spot is below the limit; thinnest is {thinnest.area}"
    return f"Thick enough everywhere; thinnest is {thinnest.area}, {thinnest.least:.1f} um"
