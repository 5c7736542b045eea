"""What the templates of pdf and page are filled with: the report as words and plain values, made once."""

from __future__ import annotations

from dataclasses import asdict

from qc.plain import JsonObject
from qc.report.month.content import MonthContent, PieceToHold
from qc.watch import LEARNING, SeriesVerdict, limits_words, settled_words
from qc.words import count_words, day_words, month_words, pieces_words, unit_words

SHOWN_REACTIONS = 9
"""The two pages show the oldest; the workbook has all."""

SHOWN_PIECES = 6
"""Pieces to hold on the two pages, the worst first; the workbook has all."""

BEHAVIOUR_MARK = {"steady": "○", "drifting": "▲", "learning": "◌"}


def title_words(content: MonthContent) -> str:
    """Return the title: whose report it is, and of which month."""
    return f"{content.workshop}: {month_words(content.month)}"


def share_words(share: float | None) -> str:
    """Write a share in whole per cent.

    Examples
    --------
    >>> share_words(0.923), share_words(None)
    ('92 %', 'none made')
    """
    return "none made" if share is None else f"{100 * share:.0f} %"


def plain_content(content: MonthContent) -> JsonObject:
    """Return everything of the report but its drawings; those go by the keys of changes and panels."""
    return {
        "title": title_words(content),
        "workshop": content.workshop,
        "headline": content.headline,
        "as_of": f"{content.as_of.day} {month_words(f'{content.as_of:%Y-%m}')}",
        "shipped_total": content.shipped_total,
        "shipped": [f"{number} {name}" for name, number in content.shipped],
        "returned": list(content.returned),
        "yields": [
            {
                "stage": y.stage,
                "share": share_words(y.share),
                "of": f"{y.passed} of {y.through}",
                "width": y.share or 0.0,
            }
            for y in content.yields
        ],
        "rolled": share_words(content.rolled),
        "changes": [asdict(change) for change in content.changes],
        "reactions_more": max(0, len(content.reactions) - SHOWN_REACTIONS),
        "reactions": [
            {
                "name": r.name,
                "opened": day_words(r.opened, content.as_of),
                "age": count_words(r.age_days, "day"),
                "state": r.state,
                "pieces": r.pieces,
            }
            for r in content.reactions[:SHOWN_REACTIONS]
        ],
        "rework": [
            {
                "cause": r.cause,
                "hours": f"{r.hours:.1f} h",
                "pieces": pieces_words(r.pieces),
                "width": _part(r.hours, content),
            }
            for r in content.rework
        ],
        "rework_total": f"{sum(r.hours for r in content.rework):.1f} h",
        "gauges": [asdict(gauge) for gauge in content.gauges],
        "dies": [{"tool": d.tool, "series": d.series, "sentence": d.sentence} for d in content.dies],
        "decisions": list(content.decisions),
        "gaps": [asdict(gap) for gap in content.gaps],
        **_hold(content),
        "capability": [capability_line(v) for v in content.verdicts],
        "panels": [{"key": str(v.key), **panel_lines(v)} for v in content.verdicts if v.points],
        "budget": content.budget,
        "plan_version": content.plan_version,
        "methods": methods(content),
    }


def _hold(content: MonthContent) -> JsonObject:
    """Return the pieces in the house with their first reason, and how many there are in all."""
    here: dict[str, PieceToHold] = {}
    for one in content.hold:
        if one.shipped is None:
            here.setdefault(one.serial, one)  # the worst reason comes first
    left = {one.serial for one in content.hold if one.shipped is not None}
    shown = list(here.values())[:SHOWN_PIECES]
    left_words = f"{count_words(len(left), 'piece')} left in the month before anybody released "
    return {
        "hold": [
            {"serial": one.serial, "name": one.name, "because": one.because, "where": one.where}
            for one in shown
        ],
        "hold_total": len(here),
        "hold_more": len(here) - len(shown),
        "hold_left": f"{left_words}{'it' if len(left) == 1 else 'them'}." if left else "",
    }


def panel_lines(verdict: SeriesVerdict) -> dict[str, str]:
    """Return the title, the finding and the capability of one panel in words."""
    signal = verdict.telling
    if verdict.behaviour == "learning":
        finding = f"Learning: {verdict.pieces} of {LEARNING} pieces."
    elif signal is not None:
        finding = f"{signal.sentence} {signal.because}"
    else:
        finding = f"As it was: {verdict.pieces} pieces without a lasting change."
        ended = [s for s in verdict.signals if s.ended is not None]
        settled = settled_words(verdict, verdict.points[-1].day)
        if settled:
            finding = f"{settled[0].upper()}{settled[1:]}."
        elif ended:
            finding = f"{ended[-1].sentence} {ended[-1].because}"
    return {
        "title": verdict.title,
        "mark": BEHAVIOUR_MARK[verdict.behaviour],
        "behaviour": verdict.behaviour,
        "finding": finding,
        "capability": capability_sentence(verdict),
    }


def capability_sentence(verdict: SeriesVerdict) -> str:
    """Say whether a series keeps its limits, with interval and number, or why that is not said."""
    lead = limits_words(verdict).capitalize()
    if verdict.ppk is not None:
        return (
            f"{lead}: Ppk {verdict.ppk:.2f} ({verdict.ppk_low:.2f} to "
            f"{verdict.ppk_high:.2f}, 95 %) from {verdict.rests_on} pieces."
        )
    why = f" Ppk is not given: {verdict.ppk_reason.rstrip('.')}." if verdict.ppk_reason else ""
    return f"{lead}.{why}"


def capability_line(verdict: SeriesVerdict) -> dict[str, str]:
    """Return one row of the capability table."""
    unit = unit_words(verdict.unit)
    sides = [
        f"{word} {value:g}"
        for word, value in (("from", verdict.lower), ("to", verdict.upper))
        if value is not None
    ]
    given = verdict.ppk is not None
    return {
        "series": verdict.title,
        "behaviour": f"{BEHAVIOUR_MARK[verdict.behaviour]} {verdict.behaviour}",
        "limits": f"{' '.join(sides)} {unit}".strip() if sides else "none",
        "pieces": str(verdict.rests_on),
        "ppk": f"{verdict.ppk:.2f}" if given else "—",
        "interval": f"{verdict.ppk_low:.2f} to {verdict.ppk_high:.2f}" if given else verdict.ppk_reason,
        "capable": limits_words(verdict).removeprefix("limits "),
    }


def methods(content: MonthContent) -> list[str]:
    """Say in plain words how the figures came about, with sources."""
    return [
        "Change: after every piece all splits of the series into before and after are compared (largest "
        "two-sample t, beside it the spread and a steady trend); the threshold is calibrated by simulation "
        "so that the whole board keeps its false-alarm budget. Source: Hawkins, Qiu and Kang, Journal of "
        "Quality Technology 35, 2003.",
        "Where a change began: the point with the largest evidence; the shaded band holds it nine times in "
        "ten.",
        "Nested readings: the pattern of the stations is taken off first; a point is the mean of one piece.",
        "Capability: Ppk from the sample standard deviation with a 95 % interval (Bissell, Applied "
        "Statistics 39, 1990, for two limits; exact by the noncentral t for one); proven when the one-sided "
        "95 % lower bound reaches the wanted value, not kept when the upper bound is below it; not given "
        "below 20 pieces.",
        "First-pass yield: pieces of the month without a rework record at the stage, of all that went "
        "through; the rolled yield is the product over the stages.",
        f"Limits and targets: version {content.plan_version} of the measuring plan, as it stood on the day.",
        content.budget,
        *(
            [f"The store when this report was made: last hash {content.last_hash}."]
            if content.last_hash
            else []
        ),
    ]


def _part(hours: float, content: MonthContent) -> float:
    most = max((r.hours for r in content.rework), default=0.0)
    return hours / most if most else 0.0
