"""Gauge studies as a person reads them: the verdict first, then the figures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.intervals import digits_words
from qc.report.terminal.columns import Row, notes, table
from qc.stats import AverageRange, GaugeStudy, GuardBand, Kappa, Linearity, OnePersonRanges, Proportion
from qc.words import places_words, some_of

_COMPONENTS = {
    "repeatability": "same person, same part",
    "person": "between persons",
    "person_part": "person and part together",
    "gauge": "gauge in all",
    "part": "between parts",
    "total": "all readings",
}
_BAR = 20  # letters of the widest bar


@dataclass(frozen=True, slots=True)
class HandFigures:
    """Figures by averages and ranges, those of one person, and the parts that they could not rest on."""

    ranges: AverageRange | None = None
    alone: OnePersonRanges | None = None
    left_out: tuple[str, ...] = ()


def gauge_text(
    study: GaugeStudy, guard: GuardBand | None, by_hand: HandFigures, value: str, file: str
) -> str:
    """Say what a gauge study found, with the figures by hand where they were asked for."""
    size = f"{study.parts} parts x {study.persons} persons x {study.repeats} readings"
    lines = [
        study.verdict,
        *([study.advice] if study.advice else []),
        "",
        f"{value} in {file}: {study.design} study, {size}",
        "",
    ]
    lines += table(_component_rows(study), "<>>><")
    lines += ["", *_shares(study)]
    if guard is not None:
        lines.append(guard_line(guard))
    lines += ["", "Table of variance", *table(_anova_rows(study), "<>>>><")]
    if by_hand.ranges is not None:
        head = "By averages and ranges, for checking by hand"
        if by_hand.left_out:
            head += f" (without {some_of(by_hand.left_out)}: not read equally often by all)"
        lines += ["", head, *table(_hand_rows(by_hand.ranges), "<><")]
    if by_hand.alone is not None:
        low, high = by_hand.alone.limits
        parts = study.parts - len(by_hand.left_out)
        lines.append(
            f"limits of the part means from the ranges: {digits_words(low, 5)} to "
            f"{digits_words(high, 5)}; {by_hand.alone.outside} of "
            f"{parts} parts lie outside (the more, the better the gauge tells parts apart)"
        )
    return "\n".join(lines + notes([_named(warning) for warning in study.warnings]))


def linearity_text(found: Linearity, value: str, file: str) -> str:
    """Say what a comparison with references found."""
    rows: list[Row] = [("reference", "readings", "bias", "from", "to", "")]
    for bias in found.biases:
        low, high = (
            ("", "")
            if bias.interval is None
            else (
                digits_words(bias.interval[0], 4, signed=True),
                digits_words(bias.interval[1], 4, signed=True),
            )
        )
        mark = "clear" if bias.clear else ""
        rows.append(
            (
                digits_words(bias.reference, 6),
                str(bias.n),
                digits_words(bias.bias, 4, signed=True),
                low,
                high,
                mark,
            )
        )
    least, most = found.slope_interval
    grows, low, high = (digits_words(one, 4, signed=True) for one in (found.line.slope, least, most))
    slope = f"bias grows by {grows} per unit of size ({low} to {high})"
    return "\n".join([found.verdict, "", f"{value} in {file}", "", *table(rows, "<>>>><"), "", slope])


def agreement_text(
    between: Kappa | None,
    alone: Mapping[str, Kappa],
    slips: Mapping[str, tuple[Proportion | None, Proportion | None]],
    pieces: str,
    warnings: Sequence[str] = (),
) -> str:
    """Say how far people agree.

    Parameters
    ----------
    between : Kappa or None
        Agreement of all judgements.
    alone : mapping of words to Kappa
        Agreement of each person with themselves and with the truth.
    slips : mapping of person to (Proportion or None, Proportion or None)
        Bad pieces passed, good ones sent back.
    pieces : str
        What was judged, in words.
    warnings : sequence of str
        What to know before believing it.
    """
    first = "Agreement with others cannot be said."
    if between is not None:
        first = (
            f"{100 * between.agreement:.0f} % of all pairs of judgements agree; chance alone would give "
            f"{100 * between.by_chance:.0f} % (kappa {places_words(between.kappa, 2)})."
        )
    lines = [first, "", pieces, ""]
    rows: list[Row] = [("", "agreement", "kappa", "from", "to")]
    rows += [_kappa_row(words, kappa) for words, kappa in alone.items()]
    if len(rows) > 1:
        lines += table(rows, "<>>><")
    for name, (missed, rejected) in slips.items():
        lines.append(f"{name} passed {_of(missed)} bad pieces and sent back {_of(rejected)} good ones")
    return "\n".join(lines + notes(warnings))


def _named(warning: str) -> str:
    """Call the spreads in a warning what the table calls them."""
    pooled, into = (f"'{_COMPONENTS[name]}'" for name in ("person_part", "repeatability"))
    return warning.replace("person_part is pooled into repeatability", f"{pooled} is pooled into {into}")


def _component_rows(study: GaugeStudy) -> list[Row]:
    """Spread of each source with its interval and a bar of its share."""
    rows: list[Row] = [("spread", "sd", "from", "to", "share of all spread")]
    for name, words in _COMPONENTS.items():
        sd = study.sd[name]
        low, high = ("", "")
        if name in study.intervals:
            low, high = (f"{math.sqrt(end):.4g}" for end in study.intervals[name])
        share = sd / study.sd["total"]
        rows.append((words, f"{sd:.4g}", low, high, f"{100 * share:3.0f} % {'▇' * round(_BAR * share)}"))
    return rows


def _shares(study: GaugeStudy) -> list[str]:
    """Shares and categories, one a line."""
    low, high = study.intervals["share_of_variation"]
    sure = f"{100 * study.confidence:g} % sure"
    lines = []
    if study.share_of_variation is not None:
        lines.append(
            f"gauge, of all spread (sd): {100 * study.share_of_variation:.1f} % "
            f"({sure} between {100 * low:.0f} and {100 * high:.0f} %); of all variance: "
            f"{100 * study.share_of_variation**2:.1f} %"
        )
    if study.share_of_tolerance is not None:
        low, high = study.intervals["share_of_tolerance"]
        lines.append(
            f"gauge, of the tolerance: {100 * study.share_of_tolerance:.1f} % "
            f"({sure} between {100 * low:.0f} and {100 * high:.0f} %)"
        )
    if study.categories is not None:
        lines.append(f"groups of parts told apart: {study.categories} (five or more for a chart)")
    return lines


def guard_line(guard: GuardBand) -> str:
    """Zone in which one reading proves a piece good."""
    if not guard.possible:
        return "guard band: no reading of this gauge can prove a piece good; use a finer one"
    low, high = guard.accept
    words = [
        f"from {digits_words(low, 5)}" if low is not None else "",
        f"up to {digits_words(high, 5)}" if high is not None else "",
    ]
    zone = " ".join(word for word in words if word)
    return f"guard band: one reading proves a piece good {zone} (limits less twice the gauge's sd)"


def _anova_rows(study: GaugeStudy) -> list[Row]:
    """Table of variance as text, its rows named as the spreads above it."""
    rows: list[Row] = [("source", "df", "sum of squares", "mean square", "F", "p")]
    for row in study.anova:
        f = "" if row.f is None else f"{row.f:.2f}"
        p = "" if row.p_value is None else (f"{row.p_value:.3f}" if row.p_value >= 0.0005 else "under 0.001")
        rows.append(
            (
                _COMPONENTS.get(row.source, row.source),
                str(row.df),
                f"{row.ss:.6g}",
                f"{row.ms:.6g}",
                f,
                p,
            )
        )
    return rows


def _hand_rows(found: AverageRange) -> list[Row]:
    """Average-and-range figures as text."""
    rows: list[Row] = [("spread", "sd", "share of all spread")]
    for name in ("repeatability", "person", "gauge", "part"):
        sd = float(getattr(found, name))
        rows.append((_COMPONENTS[name], f"{sd:.4g}", f"{100 * found.shares[name]:.1f} %"))
    rows.append((_COMPONENTS["total"], f"{found.total:.4g}", ""))
    return rows


def _kappa_row(words: str, kappa: Kappa) -> Row:
    """One line of agreement."""
    low, high = (
        ("", "")
        if kappa.interval is None
        else (places_words(kappa.interval[0], 2), places_words(kappa.interval[1], 2))
    )
    return words, f"{100 * kappa.agreement:.0f} %", places_words(kappa.kappa, 2), low, high


def _of(share: Proportion | None) -> str:
    """Say a counted share in words."""
    if share is None:
        return "0 of 0"
    low, high = share.interval
    return f"{share.count} of {share.n} ({100 * low:.0f} to {100 * high:.0f} %)"
