"""A study as a person reads it: a plain sentence first, then the figures, then a picture made of letters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from qc.intervals import digits_words
from qc.report.terminal.columns import table
from qc.stats import Chart, SeriesStudy, Signal, StudyQuestion
from qc.words import count_words, places_words

BARS = "▁▂▃▄▅▆▇█"
WIDEST = 100  # points in a sparkline; more are thinned so that the line fits a window
MOST_SIGNALS = 12  # signals listed one by one; the rest is counted
MOST_SERIES = 40
DETECTED = ("single", "shift", "trend", "spread", "count")  # findings of the change-point detector


def study_text(answers: Mapping[str, SeriesStudy], question: StudyQuestion, value: str, file: str) -> str:
    """Say what a study found; `answers` are by the name of the series."""
    if len(answers) == 1 and next(iter(answers.values())).series is None:
        return "\n".join(_single(next(iter(answers.values())), question, value, file))
    return "\n".join(_many(answers, question, value, file))


def _many(answers: Mapping[str, SeriesStudy], question: StudyQuestion, value: str, file: str) -> list[str]:
    """Say many series in a few lines: those with most signals first, since nobody reads forty."""
    moved = {name: answer for name, answer in answers.items() if answer.signals}
    without = {name: answer for name, answer in answers.items() if answer.chart is None}
    lines = [
        f"{len(answers)} series of {value} in {file} on {question.chart} charts: "
        f"{count_words(len(moved), 'series', 'series')} with signals, "
        f"{len(answers) - len(moved) - len(without)} without, {len(without)} that could not be charted."
    ]
    lines += _capabilities(answers)
    worst = sorted(moved.items(), key=lambda item: -len(item[1].signals))[:MOST_SERIES]
    rows = [(name, count_words(len(own.signals), "signal"), _sentence(own.signals[0])) for name, own in worst]
    lines += table(rows, widths=(max((len(name) for name, _ in worst), default=0), 0))
    if len(moved) > len(worst):
        lines.append(f"  and {len(moved) - len(worst)} more series with signals (see --json or --out)")
    for name, answer in list(without.items())[:MOST_SERIES]:
        lines.append(f"  {name}: {answer.reason}")
    return lines


def _capabilities(answers: Mapping[str, SeriesStudy]) -> list[str]:
    """Count the verdicts of all series and name the worst figure."""
    found = {name: one.capability for name, one in answers.items() if one.capability is not None}
    if not found:
        return []
    shown = {name: one.ppk for name, one in found.items() if one.ppk is not None}
    counts = [
        f"{sum(found[name].capable == word for name in shown)} {said}"
        for word, said in (("proven", "proven"), ("unproven", "unproven"), ("no", "not capable"))
    ]
    line = f"Capability: {', '.join(counts)}, {len(found) - len(shown)} withheld"
    if shown:
        least = min(shown, key=lambda name: shown[name])
        line += f"; the least Ppk is {places_words(shown[least], 2)} ({least})"
    return [f"{line}."]


def _single(answer: SeriesStudy, question: StudyQuestion, value: str, file: str) -> list[str]:
    """Say one series: the finding in a sentence first, then figures, picture, signals and notes."""
    chart = answer.chart
    assert chart is not None
    lines = [_headline(answer, value, file), ""]
    lines += table(_figures(answer, chart))
    picture = _sparkline(chart, answer.signals)
    if picture:
        lines += ["", *picture]
    if answer.signals:
        lines += ["", "Signals"]
        lines += [f"  {_sentence(signal)}" for signal in answer.signals[:MOST_SIGNALS]]
        if len(answer.signals) > MOST_SIGNALS:
            lines.append(f"  and {len(answer.signals) - MOST_SIGNALS} more")
    if answer.capability is not None:
        lines += ["", *answer.capability.sentences]
    if answer.warnings:
        lines += ["", *(f"Note: {warning}." for warning in answer.warnings)]
    return lines


def _headline(answer: SeriesStudy, value: str, file: str) -> str:
    points = count_words(answer.points, "point")
    where = f"{value} in {file}"
    if not answer.signals:
        return f"No signal in {points} of {where}: nothing here says that the process has changed."
    first = answer.signals[0]
    flagged = len({signal.point for signal in answer.signals})
    found = f"{count_words(flagged, 'point')} of {answer.points} in {where}"
    return f"{found} signalled, the first at point {first.point}."


def _sentence(signal: Signal) -> str:
    # the change-point detector measures against the stretch before, every chart against its centre
    against = "what went before" if signal.rule in DETECTED else "the centre"
    side = {"above": "above", "below": "below", "both": "on both sides of"}[signal.side]
    since = "" if signal.start == signal.point else f", since point {signal.start}"
    size = f"{digits_words(signal.size, 4, signed=True)} from {against}"
    if signal.size_sigma is not None:
        size += f" ({places_words(signal.size_sigma, 1, signed=True)} sigma)"
    return f"point {signal.point}: {signal.rule}, {side} {against}{since}, {size}"


def _figures(answer: SeriesStudy, chart: Chart) -> list[tuple[str, str]]:
    """List the figures of a chart; only those it has, since an empty line reads as a fault."""
    rows = [("chart", chart.kind), ("readings", str(answer.n)), ("points", str(answer.points))]
    for name, figure in (
        ("centre", chart.center),
        ("lower limit", chart.lower),
        ("upper limit", chart.upper),
        ("sigma", chart.sigma),
    ):
        if figure is not None:
            rows.append((name, digits_words(figure, 6)))
    if chart.companion is not None:
        name = chart.companion.kind.replace("-", " ")
        rows.append((f"{name}, mean", digits_words(chart.companion.center, 6)))
        rows.append((f"{name}, upper limit", digits_words(chart.companion.upper, 6)))
    return rows + _own_figures(chart)


def _own_figures(chart: Chart) -> list[tuple[str, str]]:
    """Figures that only this kind of chart has, in words."""
    extras: Mapping[str, Any] = chart.extras
    rows = []
    if "sd" in extras:
        for name in ("between", "within", "total"):
            figure = extras["sd"][name]
            where = {"between": "sd between pieces", "within": "sd within pieces", "total": "sd in all"}[name]
            rows.append((where, "unknown" if figure is None else digits_words(figure, 6)))
    if "slope" in extras:
        low, high = extras["slope_interval"]
        rows.append(
            (
                "slope",
                f"{digits_words(extras['slope'], 6)} ({digits_words(low, 6)} to {digits_words(high, 6)})",
            )
        )
        crossing = extras["crossing"]
        if crossing["count"] is None:
            rows.append(("meets a limit", f"not to be said: {crossing['reason']}"))
        else:
            low, high = crossing["interval"]
            rows.append(
                (
                    f"meets {digits_words(crossing['limit'], 6)}",
                    f"at {digits_words(crossing['count'], 6)} ({digits_words(low, 6)} to "
                    f"{digits_words(high, 6)})",
                )
            )
    if "dispersion" in extras and extras["dispersion"]["ratio"] is not None:
        found = extras["dispersion"]
        rows.append(
            (
                "scatter against that of counts",
                f"{found['ratio']:.3g} (p {found['p_value']:.2g})",
            )
        )
    for one in extras.get("decomposition", ())[:MOST_SIGNALS]:
        rows.append((f"point {one['point']} because of", ", ".join(one["causes"])))
    off = ", off the line" if extras.get("judged") == "wear" else ""
    for one in extras.get("stretches", ()):
        name = f"points {one['first']} to {one['last']}{off}"
        spread = "" if one["sd"] is None else f", sd {one['sd']:.4g}"
        rows.append((name, f"mean {digits_words(one['mean'], 6)}{spread}"))
    return rows


def _sparkline(chart: Chart, signals: Sequence[Signal]) -> list[str]:
    """Draw the points as bars, with a mark under those that signalled."""
    values = chart.values["high"] if isinstance(chart.values, Mapping) else chart.values
    values = np.asarray(values, dtype=np.float64)
    known = values[np.isfinite(values)]
    if known.size == 0:
        return []
    groups = np.array_split(np.arange(values.size), min(values.size, WIDEST))
    flagged = {signal.point - 1 for signal in signals}
    low, span = float(known.min()), float(np.ptp(known)) or 1.0
    bars, marks = "", ""
    for group in groups:
        part = values[group]
        part = part[np.isfinite(part)]
        # of several points in one bar the one furthest from the middle is shown: a mean
        # would hide a single piece
        level = (
            0.0 if part.size == 0 else (float(part[np.argmax(np.abs(part - np.median(known)))]) - low) / span
        )
        bars += " " if part.size == 0 else BARS[min(int(level * len(BARS)), len(BARS) - 1)]
        marks += "^" if flagged.intersection(group.tolist()) else " "
    lines = [f"  {bars}"]
    if marks.strip():
        lines.append(f"  {marks.rstrip()}")
    return lines
