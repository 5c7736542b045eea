"""What the templates of pdf and page are filled with: the report as words and plain values, made once."""

from __future__ import annotations

import math
import re
from dataclasses import asdict
from datetime import date, timedelta

from qc.plain import JsonObject
from qc.report.month.blocks import day_over
from qc.report.month.content import DieLine, MonthContent, PieceToHold, Reaction
from qc.watch import LEARNING, SeriesVerdict, limits_words, settled_words
from qc.words import (
    MONTHS,
    count_words,
    day_words,
    interval_words,
    month_words,
    percent_words,
    pieces_words,
    places_words,
    some_of,
    unit_words,
)

TOLD_WEEKS = 17
"""Further off a change of a tool is told as "more than": a pace does not hold that long (as the forecast)."""

INDEX_PLACES = 2
"""Places of a capability index (common practice, no source)."""

_SIGNAL = re.compile(r"^signal [0-9a-f]+: ")
"""The id of a signal before its sentence: paper has nothing to look it up with."""


BEHAVIOUR_MARK = {"steady": "○", "drifting": "▲", "learning": "◌"}
STANDING = {"lasts": ("▲", "lasts"), "settled": ("◆", "settled at a new level"), "over": ("○", "over")}
"""How a change stands: its mark and its words."""

NAMED_PIECES = 3
"""Pieces named of many that are to be held for one and the same reason; chosen, the workbook has all."""


def title_words(content: MonthContent) -> str:
    """Return the title: whose report it is, and of which month."""
    return f"{content.workshop}: {month_words(content.month)}"


def month_answer(content: MonthContent) -> JsonObject:
    """Return what the command answers: the month in a sentence, and the figures of the first two pages."""
    rolled = content.rolled
    return {
        "month": content.month,
        "as_of": content.as_of.isoformat(),
        "headline": content.headline,
        "closed": content.closed,
        "last_hash": content.last_hash,
        "shipped": content.shipped_total,
        "first_pass": [
            {
                "stage": y.stage,
                "passed": y.passed,
                "of": y.through,
                "share": y.share,
                "interval": [y.low, y.high],
            }
            for y in content.yields
        ],
        "rolled": {
            "share": rolled.share if rolled else None,
            "interval": [rolled.low, rolled.high] if rolled else None,
        },
        "rework_hours": content.rework_hours,
        "to_hold": content.held_pieces,
        "open_reactions": len(content.reactions),
        "decisions": list(content.decisions),
    }


def plain_content(content: MonthContent) -> JsonObject:
    """Return everything of the report but its drawings; those go by the keys of changes and panels."""
    return {
        "title": title_words(content),
        "month": content.month,
        "workshop": content.workshop,
        "headline": content.headline,
        "as_of": f"{content.as_of.day} {month_words(f'{content.as_of:%Y-%m}')}",
        "standing": content.closed or "Not closed: cards that come in late still change it.",
        **_left(content),
        **_yields(content),
        "changes": [
            {**asdict(change), "mark": STANDING[change.standing][0], "standing": STANDING[change.standing][1]}
            for change in content.changes
        ],
        "near": [
            {"key": str(v.key), **{name: lines[name] for name in ("title", "mark", "finding", "capability")}}
            for v in content.near
            for lines in [panel_lines(v, content.first)]
        ],
        "not_passed": [
            {"stage": stage, "serial": serial, "day": day_words(day, content.as_of), "why": why}
            for stage, serial, day, why in content.not_passed
        ],
        "hold": hold_lines(content),
        "hold_total": content.held_pieces,
        "reactions": [_reaction(r, content.as_of) for r in content.reactions],
        "cautions": list(dict.fromkeys(r.caution for r in content.reactions if r.caution)),
        "rework": [
            {
                "cause": r.cause,
                "hours": f"{places_words(r.hours, hours_places(content))} h",
                "pieces": pieces_words(r.pieces),
                "width": _part(r.hours, content),
            }
            for r in content.rework
        ],
        "rework_total": f"{places_words(content.rework_hours, hours_places(content))} h",
        "gauges": [asdict(gauge) for gauge in content.gauges],
        "dies": [{"tool": d.tool, "series": d.series, "sentence": _die(d)} for d in content.dies],
        "decisions": list(content.decisions),
        "gaps": [asdict(gap) for gap in content.gaps],
        "since_closed": [asdict(gap) for gap in content.since_closed],
        "signals_told": content.signals_told,
        "plan_changes": list(content.plan_changes),
        "capability": [capability_line(v) for v in content.verdicts],
        "panels": _panels(content),
        "budget": content.budget,
        "plan_version": content.plan_version,
        "methods": methods(content),
    }


def _panels(content: MonthContent) -> list[JsonObject]:
    """Return the words of each panel; where a reaction is open, its steps and cautions too."""
    open_ones = {one.name: one for one in reversed(content.reactions)}
    found = []
    for verdict in content.verdicts:
        if verdict.points:
            own = open_ones.get(verdict.title)
            steps, caution = (list(own.steps), own.caution) if own else ([], "")
            lines = panel_lines(verdict, content.first)
            found.append({"key": str(verdict.key), **lines, "steps": steps, "caution": caution})
    return found


def _left(content: MonthContent) -> JsonObject:
    before, year_ago = beside_words(content.first)
    others = [
        f"{name} {number}"
        for name, number in ((before, content.shipped_before), (year_ago, content.shipped_year_ago))
        if number is not None
    ]
    return {
        "shipped_total": content.shipped_total,
        "shipped": [{"name": name, "number": number} for name, number in content.shipped],
        "shipped_beside": ", ".join(others),
        "returned": list(content.returned),
    }


def _yields(content: MonthContent) -> JsonObject:
    before, year_ago = beside_words(content.first)
    rolled = content.rolled
    return {
        "before": before,
        "year_ago": year_ago,
        "yields": [
            {
                "stage": y.stage,
                "share": yield_words(y.share, y.low, y.high),
                "of": f"{y.passed} of {y.through}",
                "before": _counted(y.before),
                "year_ago": _counted(y.year_ago),
                "width": y.share or 0.0,
            }
            for y in content.yields
        ],
        "rolled": yield_words(rolled.share, rolled.low, rolled.high) if rolled else "none made",
        "rolled_before": _share(rolled.before if rolled else None),
        "rolled_year_ago": _share(rolled.year_ago if rolled else None),
    }


def beside_words(first: date) -> tuple[str, str]:
    """Return the names of the months that the figures stand beside: the one before, and a year ago.

    Examples
    --------
    >>> beside_words(date(2026, 1, 1))
    ('December', 'January 2025')
    """
    before = first - timedelta(days=1)
    return MONTHS[before.month - 1], f"{MONTHS[first.month - 1]} {first.year - 1}"


def yield_words(share: float | None, low: float | None, high: float | None) -> str:
    """Write a yield in per cent with its interval.

    Examples
    --------
    >>> yield_words(0.933, 0.681, 0.998), yield_words(None, None, None)
    ('93 % (68 to 100)', 'none made')
    """
    if share is None:
        return "none made"
    if low is None or high is None:
        return percent_words(share)
    return interval_words(100 * share, 100 * low, 100 * high, "%", sure="")


def _counted(pair: tuple[int, int] | None) -> str:
    """Write the yield of another month with its count; a dash where nothing came."""
    return f"{percent_words(pair[0] / pair[1])} of {pair[1]}" if pair and pair[1] else "—"


def _share(share: float | None) -> str:
    return "—" if share is None else percent_words(share)


def figure_words(name: str) -> str:
    """Write "stage: figure" without the stage where the figure's own name begins with it.

    Examples
    --------
    >>> figure_words("Lacquer: Lacquer thickness"), figure_words("Tuning: Fifth partial")
    ('Lacquer thickness', 'Tuning: Fifth partial')
    """
    stage, _, figure = name.partition(": ")
    return figure if figure.casefold().startswith(stage.casefold()) else name


def hold_lines(content: MonthContent) -> list[dict[str, str]]:
    """Return the pieces outside their limits one by one, then those in doubt gathered by what is in doubt."""
    alone: dict[tuple[str, str], PieceToHold] = {}
    shared: dict[tuple[str, str, str], list[PieceToHold]] = {}
    for one in content.hold:
        if one.why in {"limit", "hand"}:
            alone.setdefault((one.serial, one.name), one)
        elif one.shipped is None:
            shared.setdefault((one.name, one.because, one.next_step), []).append(one)
    found = [
        {
            "who": one.serial,
            "what": f"{figure_words(one.name)}: {one.because}",
            "day": day_words(one.day, content.as_of),
            "where": one.where if one.standing == "to hold" else one.standing,
        }
        for one in alone.values()
    ]
    for (name, because, _), pieces in shared.items():
        serials = list(dict.fromkeys(one.serial for one in pieces))
        about = _SIGNAL.sub("", because)
        found.append(
            {
                "who": some_of(serials, NAMED_PIECES),
                "what": f"{figure_words(name)}: {about[:1].lower() + about[1:] if about.startswith('The ') else about}",
                "day": "",
                "where": pieces_words(len(serials)) + " in the house",
            }
        )
    doubted = (one for one in content.hold if one.why not in {"limit", "hand"} and one.shipped)
    left = list(dict.fromkeys(one.serial for one in doubted))
    if left:
        found.append(
            {
                "who": some_of(left, NAMED_PIECES),
                "what": "in doubt for the same reasons",
                "day": "",
                "where": "left, not released",
            }
        )
    return found


def hours_places(content: MonthContent) -> int:
    """Return the places of hours: quarters of an hour need two, or the printed figures do not add up."""
    return 1 if all(math.isclose(10 * r.hours, round(10 * r.hours)) for r in content.rework) else 2


def _reaction(one: Reaction, as_of: date) -> JsonObject:
    late = one.due is not None and one.due < as_of
    due = day_words(one.due, as_of) if one.due else ""
    return {
        "name": one.name,
        "finding": one.finding or one.name,
        "told": (
            f"{one.name}, signal {one.id}: {one.state} for {count_words(one.age_days, 'day')}, told on "
            f"{day_words(one.opened, as_of)}; {pieces_words(one.pieces)}."
        ),
        "owner": one.owner or "nobody yet",
        "due": f"{due}, overdue" if late else due,
        "steps": list(one.steps),
        "caution": one.caution,
    }


def _die(die: DieLine) -> str:
    """Say where a die is going, in draws and weeks."""
    if die.draws_left is None:
        return die.sentence
    left = f"{count_words(die.draws_left, 'draw')} left"
    if die.weeks is None:
        return f"{die.sentence} {left}."
    # a pace does not hold for longer than a season: further off, the weeks are no promise
    if die.weeks > TOLD_WEEKS:
        weeks = f"more than {TOLD_WEEKS} weeks"
    else:
        weeks = f"about {count_words(round(die.weeks), 'week')}" if die.weeks >= 1 else "less than a week"
    return f"{die.sentence} {left}, {weeks} at the pace of the last quarter."


def panel_lines(verdict: SeriesVerdict, first: date | None = None) -> dict[str, str]:
    """Return the title, the finding and the capability of one panel in words.

    A finding that is over is told as such, and only of a change that ended in the month: from `first` on.
    """
    signal = verdict.telling
    if verdict.behaviour == "learning":
        finding = f"Learning: {verdict.pieces} of {LEARNING} pieces."
    elif signal is not None:
        finding = f"{signal.sentence} {signal.because}"
    else:
        finding = f"As it was: {verdict.pieces} pieces without a lasting change."
        settled = settled_words(verdict, verdict.points[-1].day)
        if settled:
            finding = f"{settled[0].upper()}{settled[1:]}."
        else:
            finding += _over(verdict, first)
    return {
        "title": verdict.title,
        "mark": BEHAVIOUR_MARK[verdict.behaviour],
        "behaviour": verdict.behaviour,
        "finding": finding,
        "capability": capability_sentence(verdict),
    }


def _over(verdict: SeriesVerdict, first: date | None) -> str:
    """Say which change was over in the month, empty where none was."""
    for signal in reversed(verdict.signals):
        back = day_over(verdict, signal)
        if back is not None and signal.kind != "single" and (first is None or back >= first):
            return f" Over since {day_words(back, verdict.points[-1].day)}: {signal.sentence}"
    return ""


def capability_sentence(verdict: SeriesVerdict) -> str:
    """Say whether a series keeps its limits, with interval and number, or why that is not said."""
    lead = limits_words(verdict).capitalize()
    if verdict.ppk is not None:
        return f"{lead}: Ppk {_ppk(verdict)} from {pieces_words(verdict.rests_on)}."
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
        "ppk": places_words(verdict.ppk or 0.0, INDEX_PLACES) if given else "—",
        "interval": _between(verdict) if given else verdict.ppk_reason,
        "capable": limits_words(verdict).removeprefix("limits "),
    }


def _ppk(verdict: SeriesVerdict) -> str:
    return f"{places_words(verdict.ppk or 0.0, INDEX_PLACES)} ({_between(verdict)}, 95 %)"


def _between(verdict: SeriesVerdict) -> str:
    ends = (places_words(end or 0.0, INDEX_PLACES) for end in (verdict.ppk_low, verdict.ppk_high))
    return " to ".join(ends)


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
        "First-pass yield: pieces that came to a stage in the month and passed it the first time, without "
        "rework, a figure outside its limits or a failed verdict there; its interval is exact (Clopper and "
        "Pearson, Biometrika 26, 1934). All stages in a row: the product of the shares, its interval by the "
        "method of Lindstrom and Madden (Lloyd and Lipow, Reliability, 1962).",
        "Pattern rules beside a chart are off in this report: together they would raise many more false "
        "signals than the budget allows. Where they are switched on, on a chart of the board, they are "
        "those of Nelson, Journal of Quality Technology 16, 1984.",
        "Figures with an interval carry one unit, and as many places as the half of the interval makes "
        "sensible (JCGM 100:2008, 7.2.6).",
        "Months that are closed stay as they were stored; what comes in later for their days stands in "
        'the next month\'s report under "since closed".',
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
