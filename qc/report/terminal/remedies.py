"""Remedies as a person reads them: what to do first in a sentence, then the figures it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from qc.intervals import digits_words
from qc.report.terminal.columns import Row, block, figures
from qc.shares import percent_words
from qc.trade import (
    LEAST_SHARE_OF_NOMINAL,
    MOST_BELOW_NOMINAL,
    MOST_OF_NOMINAL,
    AreaThickness,
    HeldNote,
    HouseRule,
    LeftTube,
    Pairing,
    Sensitivity,
    Spot,
    TightEnd,
    TuningRemedy,
    WearLine,
)
from qc.words import count_words, dated_words, places_words, plain_words

TOLD_WEEKS = 17
"""A pace does not hold for longer than a season: further off, the weeks are no promise (house rule)."""

Forecast = tuple[str, int, WearLine | None, date | None, Sequence[str], float | None, str]
"""Name of the tool, pieces, its line, the day to change it by, what to know before, weeks left, and what it
counts (`draw` or `count`)."""


def tune_text(remedy: TuningRemedy, learned: Sensitivity | None) -> str:
    """Say what to do to an instrument; `learned` is what a change already made has taught."""
    fit, steps = remedy.fit, remedy.order_of_work
    lines = [*numbered(steps), ""]
    lines += figures(_length_rows(remedy), "<>>>>>><")
    if fit.partials:
        rows: list[Row] = [("partial", "cents", "from", "to", "  (residuals sum to zero)")]
        for partial in fit.partials:
            rows.append((str(partial.partial), *_tenths(partial.residual_cents, *partial.interval_cents)))
        lines += ["", *figures(rows, "<>>><")]
    lines += ["", *tune_summary(remedy), *([learned_words(learned)] if learned is not None else [])]
    lines += block("Cannot be told apart", fit.not_separable) + block("Cautions", remedy.cautions)
    return "\n".join(lines)


def tune_summary(remedy: TuningRemedy) -> tuple[str, ...]:
    """Say how far the notes are off now and after the work, and how sure a reading is."""
    fit = remedy.fit
    return (
        f"Spread of the notes {fit.rms_before_cents:.1f} cents now, {remedy.rms_after_cents:.1f} after the "
        f"work",
        f"One reading scatters by {fit.reading_sd:.1f} cents; known common offset "
        f"{places_words(fit.common_cents, 1, signed=True)} "
        f"cents",
    )


def learned_words(learned: Sensitivity) -> str:
    """Say what a change already made has taught."""
    return (
        f"Learned from the last change: {learned.part} answers {learned.share:.2f} of the computed "
        f"(+- {learned.standard_error:.2f})"
    )


def numbered(steps: Sequence[str]) -> list[str]:
    """Give the steps of a work with their numbers; a single one needs none."""
    return [f"{number}. {step}" for number, step in enumerate(steps, 1)] if len(steps) > 1 else list(steps)


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
                f"  {place}  {note.note:8} {places_words(note.cents, 1, signed=True):>6} cents (spread "
                f"{note.spread_cents:.1f})"
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
    return tuple(places_words(figure, 1) for figure in found)


def pair_lead(pairing: Pairing, limits: tuple[float, float]) -> str:
    """Say how many pairs lie wholly within the limits of the clearance [um]."""
    total = len(pairing.pairs)
    low, high = map(plain_words, limits)
    said = f"{pairing.inside} of {total} pairs lie wholly within {low} to {high} µm"
    return said if pairing.inside == total else f"{said}; fit those first and look at the rest below"


def end_words(end: TightEnd) -> str:
    """Say which end of a pair is tight."""
    if end.even:
        return "even along its length"
    leg = f"{end.leg} leg, " if end.leg else ""
    return f"tight at {leg}{end.station}: {end.um:.0f} µm, {end.looser_um:.0f} µm looser elsewhere"


def left_words(tube: LeftTube, limits: tuple[float, float]) -> str:
    """Say which mate a tube without one wants, and what would mend it; `limits` are about the target [um]."""
    mate, other = ("bore", "outer") if tube.side == "inner" else ("stocking", "inner")
    off = tube.nearest_off_um
    left = f"{tube.name} is left: it wants a {mate} of {tube.wanted_mm:.3f} mm"
    if limits[0] <= off <= limits[1]:
        return f"{left}; {tube.nearest} would fit but has a mate: one more {other} like it is needed"
    tool = "the outers' mandrel" if tube.side == "inner" else "the inners' die"
    smaller = off > 0 if tube.side == "inner" else off < 0
    return (
        f"{left}; nearest {tube.nearest}, {places_words(off, 0, signed=True)} µm off target: {tool} "
        f"{abs(off):.0f} µm "
        f"{'smaller' if smaller else 'larger'}, or keep it for the next lot"
    )


def pair_text(
    pairing: Pairing,
    ends: Sequence[TightEnd],
    said: tuple[str, Sequence[str], Sequence[str]],
    shares: Sequence[float | None],
) -> str:
    """Say what goes into what.

    `said` is the first sentence, what the leftovers want, and the tubes before pairing; `shares` those
    expected within the limits of tubes taken at random and of tubes paired, None where they cannot be told.
    """
    lead, leftovers, rack = said
    rows: list[Row] = [("inner", "outer", "least µm", "mean µm", "greatest", "", "")]
    for pair, end in zip(pairing.pairs, ends, strict=True):
        least, mean, most = _tenths(pair.least_um, pair.mean_um, pair.greatest_um)
        kept = "" if pair.inside else "  outside"
        rows.append((pair.inner, pair.outer, least, mean, most, kept, f"  {end_words(end)}"))
    lines = [lead, "", *figures(rows, "<>>>><<"), *leftovers]
    random, best = shares
    if random is not None and best is not None:
        lines.append(
            f"Expected within limits: {percent_words(random)} taken at random, {percent_words(best)} paired"
        )
    lines += [
        "",
        "Pairing hides a drifting die: these are the tubes before pairing, in the order of the file",
    ]
    return "\n".join([*lines, *rack])


def run_words(side: str, means_mm: Sequence[float], sd_um: float, drift_um: float | None) -> str:
    """Say how the tubes of one side lie before pairing, and whether their die drifts."""
    mean = sum(means_mm) / len(means_mm)
    tubes = count_words(len(means_mm), "tube")
    said = f"{side:6} {tubes}, mean {mean:.4f} mm, standard deviation {sd_um:.1f} µm"
    if drift_um is not None:
        said += (
            f", DRIFTING by {places_words(drift_um, 1, signed=True)} µm from first to last: look at its die"
        )
    return said


def wear_text(tools: Sequence[Forecast], cautions: Sequence[str]) -> str:
    """Say when each tool has to be changed."""
    ordered = sorted(tools, key=urgency)
    rows: list[Row] = [("tool", "pieces", "per 100", "from", "to", "limit", "crossing", "change by")]
    rows += [_wear_row(*tool[:3]) for tool in ordered]
    lines = [*(wear_words(tool) for tool in ordered), "", *figures(rows)]
    for name, _, _, _, warnings, *_ in ordered:
        lines += [f"{name or 'tool'}: {warning}" for warning in warnings]
    return "\n".join(lines + block("Cautions", cautions))


def urgency(tool: Forecast) -> float:
    """Give how soon a tool is to be changed, in its own counts; infinite where no change is planned."""
    line = tool[2]
    if line is None or line.change_by_count is None:
        return float("inf")
    left = line.change_by_count - line.last_count
    # what does not wear, as far as one can tell, comes after all that does, unless its next piece is at risk
    return left if line.proven or left < 0 else float("inf")


def _wear_row(name: str, pieces: int, line: WearLine | None) -> Row:
    if line is None:
        return name or "(all)", str(pieces)
    slopes = (digits_words(100 * slope, 4) for slope in (line.slope, *line.slope_interval))
    limit = "-" if line.limit is None else plain_words(line.limit)
    crossing = "-" if line.line_crossing is None else places_words(line.line_crossing[0], 0)
    change = "-" if line.change_by_count is None else str(line.change_by_count)
    return name or "(all)", str(pieces), *slopes, limit, crossing, change


def wear_words(tool: Forecast) -> str:
    """Say when a tool has to be changed: count, what is left of it in draws and weeks, day."""
    name, _, line, change_by_date, warnings, weeks, counted = tool
    name = name or "The tool"
    if line is None or line.change_by_count is None:
        return f"{name}: no change to plan by count ({warnings[0]})" if warnings else f"{name}: no limit"
    left = line.change_by_count - line.last_count
    if not line.proven:
        # the count comes from the scatter of the pieces alone: it is no day to plan a change for
        inside = f"the next pieces stay inside to {counted} {line.change_by_count}"
        risky = "the next piece may fall outside: measure every one"
        return f"{name}: no wear is proven yet, no change to plan; by the scatter of the pieces " + (
            inside if left >= 0 else risky
        )
    if left < 0:
        return f"{name}: change now; it was due at {counted} {line.change_by_count}"
    day = f", about {change_by_date:%a} {dated_words(change_by_date)}" if change_by_date else ""
    lasts = f", {weeks_words(weeks)}" if weeks is not None else ""
    many = f" {count_words(round(left), 'draw').partition(' ')[2]}" if counted == "draw" else ""
    return f"{name}: change by {counted} {line.change_by_count}{day}; {left:.0f}{many} left{lasts}"


def weeks_words(weeks: float) -> str:
    """Say how long what is left of a tool lasts at its pace."""
    if weeks > TOLD_WEEKS:
        return f"more than {TOLD_WEEKS} weeks"
    return f"about {count_words(round(weeks), 'week')}" if weeks >= 1 else "less than a week"


def coat_text(
    areas: Sequence[AreaThickness],
    rules: Mapping[str, HouseRule],
    passes: Mapping[str, bool],
    lower_um: float,
    capability: tuple[float | None, tuple[float, float] | None],
    base_drift_um: float | None,
    cautions: Sequence[str],
    clauses: Sequence[str] = (),
) -> str:
    """Say what a lacquer sheet holds, in um: house rules by serial, and whether they pass by area.

    `capability` is that at the lower limit, with its interval; `clauses` what the house rule asks and found.
    """
    rows = [("area", "spots", "mean µm", "least", "below", "  house rule")]
    for area in areas:
        mean, least = f"{area.mean:.1f}", f"{area.least:.1f}"
        verdict = "  pass" if passes[area.area] else "  fail"
        rows.append((area.area, str(area.n), mean, least, str(area.below_nominal), verdict))
    lines = [coat_lead(areas, rules, lower_um), "", *figures(rows, "<>>>><")]
    cpl, interval = capability
    if cpl is not None and interval is not None:
        low, high = (places_words(end, 2) for end in interval)
        lines.append(f"Capability at the lower limit {places_words(cpl, 2)} ({low} to {high}, 95 %)")
    if base_drift_um is not None:
        lines.append(f"Bare-metal reading moved by {places_words(base_drift_um, 1, signed=True)} µm")
    lines += block("House rule 80/20", clauses)
    return "\n".join(lines + block("Cautions", cautions))


def rule_words(
    rule: HouseRule, spots: Sequence[Spot], nominal_um: float, serial: str = ""
) -> tuple[str, ...]:
    """Say each clause of the house rule with the figures it rests on; `serial` where there are several."""
    thin, thick = min(spots, key=lambda spot: spot.um), max(spots, key=lambda spot: spot.um)
    mean = sum(spot.um for spot in spots) / len(spots)
    below = round(rule.share_below_nominal * len(spots))
    clauses = (
        (f"mean of {len(spots)} spots {mean:.1f} µm, {nominal_um:g} asked", rule.mean_reaches_nominal),
        (
            f"least spot {thin.um:.1f} µm ({_place(thin)}), {LEAST_SHARE_OF_NOMINAL * nominal_um:.3g} asked",
            rule.none_under_80_percent,
        ),
        (
            f"{below} of {len(spots)} spots under {nominal_um:g} µm "
            f"({percent_words(rule.share_below_nominal)}), "
            f"fewer than {percent_words(MOST_BELOW_NOMINAL)} asked",
            rule.few_below_nominal,
        ),
        (
            f"greatest spot {thick.um:.1f} µm ({_place(thick)}), at most {MOST_OF_NOMINAL * nominal_um:g}",
            rule.none_over_three_nominals,
        ),
    )
    whose = f"{serial}: " if serial else ""
    return tuple(f"{whose}{said}: {'kept' if kept else 'not kept'}" for said, kept in clauses)


def _place(spot: Spot) -> str:
    return f"{spot.area}, spot {spot.spot}"


def coat_lead(areas: Sequence[AreaThickness], rules: Mapping[str, HouseRule], lower_um: float) -> str:
    """Say first where the lacquer is thin, and what to do."""
    thinnest = min(areas, key=lambda area: area.least)
    if thinnest.least < lower_um:
        return (
            f"{thinnest.area} is too thin: least spot {thinnest.least:.1f} µm, limit {lower_um:g} µm; "
            "measure it again, then strip and spray again"
        )
    if not all(rule.passes for rule in rules.values()):
        return f"House rule failed, though no spot is below the limit; thinnest is {thinnest.area}"
    return f"Thick enough everywhere; thinnest is {thinnest.area}, {thinnest.least:.1f} µm"
