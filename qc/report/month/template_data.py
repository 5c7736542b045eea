"""What the templates of pdf and page are filled with: the report as words and plain values, made once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, timedelta
from itertools import accumulate

from qc.plain import JsonObject
from qc.report.month.content import (
    HOUR_PLACES,
    LEFT_HELD,
    DieLine,
    MonthContent,
    PieceToHold,
    Reaction,
    Share,
)
from qc.report.month.gauge_checks import gauge_line
from qc.report.month.methods import methods
from qc.report.month.panel_words import capability_line, panel_lines
from qc.report.terminal import weeks_words
from qc.shares import adding_up, between_words, percent_words
from qc.stats import proportion
from qc.watch import summed
from qc.words import MONTHS, count_words, day_words, month_words, pieces_words, some_of

_SIGNAL = re.compile(r"^signal [0-9a-f]+: ")
"""The id of a signal before its sentence: paper has nothing to look it up with."""


STANDING = {"lasts": ("▲", "lasts"), "settled": ("◆", "settled at a new level"), "over": ("○", "over")}
"""How a change stands: its mark and its words."""

NAMED_PIECES = 3
"""Pieces named of many that are to be held for one and the same reason; chosen, all stand further on."""


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
        "rework_cost": None if content.hour is None else summed([content.rework_hours * content.hour[0]]),
        "to_hold": content.held_pieces,
        "left_unreleased": content.left_unreleased,
        "open_reactions": len(content.reactions),
        "decisions": list(content.decisions),
    }


def plain_content(content: MonthContent) -> JsonObject:
    """Return everything of the report but its drawings; those go by the keys of changes and panels."""
    held = hold_lines(content)
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
        "hold": held,
        "named": _by_name(held),
        "hold_total": content.held_pieces,
        "left_total": content.left_unreleased,
        "reactions": [_reaction(r, content.as_of) for r in content.reactions],
        "cautions": list(dict.fromkeys(r.caution for r in content.reactions if r.caution)),
        **_rework(content),
        "gauges": [asdict(gauge) for gauge in content.gauges],
        "gauge_checks": [gauge_line(one) for one in content.gauge_checks],
        "dies": [{"tool": d.tool, "series": d.series, "sentence": _die(d)} for d in content.dies],
        "decisions": list(content.decisions),
        "gaps": [asdict(gap) for gap in content.gaps],
        "since_closed": [asdict(gap) for gap in content.since_closed],
        "signals_told": content.signals_told,
        "plan_changes": list(content.plan_changes),
        "upstream": [{"result": result, "sentence": said} for result, said in content.upstream],
        "people": [{"series": series, "sentence": said} for series, said in content.people],
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
    """Lay out the first-pass yields beside last month's and those of a year ago."""
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
    ('93 % (68 to 99.8 %)', 'none made')
    """
    if share is None:
        return "none made"
    if low is None or high is None:
        return percent_words(share)
    return f"{percent_words(share)} ({between_words(low, high)})"


def _counted(pair: tuple[int, int] | None) -> str:
    """Write the yield of another month with its interval and its count; a dash where nothing came."""
    if not pair or not pair[1]:
        return "—"
    found = proportion(*pair)
    return f"{yield_words(found.share, *found.interval)} of {pair[1]}"


def _share(share: Share | None) -> str:
    return "—" if share is None else yield_words(*share)


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
            "where": _where(one, content.as_of) if one.standing == "to hold" else one.standing,
            "all": "",
        }
        for one in alone.values()
    ]
    for pieces in shared.values():
        serials = list(dict.fromkeys(one.serial for one in pieces))
        found.append(
            {
                "who": some_of(serials, NAMED_PIECES),
                "what": _in_doubt(pieces[0]),
                "day": "",
                "where": pieces_words(len(serials)) + " in the house",
                "all": _named(serials),
            }
        )
    for said, own, reasons in _left_in_doubt(content.hold):
        who, what = (
            some_of(own, NAMED_PIECES),
            "; ".join([*(one.rstrip(".") for one in reasons[:-1]), reasons[-1]]),
        )
        found.append({"who": who, "what": what, "day": "", "where": said, "all": _named(own)})
    return found


def _by_name(lines: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
    """Name all pieces of the lines that name the first few only; those in doubt for one reason together."""
    named: dict[str, list[str]] = {}
    for one in lines:
        if one["all"]:
            named.setdefault(one["what"], []).append(one["all"])
    return [{"what": what, "all": ", ".join(serials)} for what, serials in named.items()]


def _left_in_doubt(rows: Sequence[PieceToHold]) -> list[tuple[str, list[str], tuple[str, ...]]]:
    """Gather what left in doubt by its reasons, first what was to be held when it left; serials in order."""
    held: dict[str, bool] = {}
    reasons: dict[str, dict[str, None]] = {}
    for one in rows:
        if one.why not in {"limit", "hand"} and one.shipped:
            held[one.serial] = held.get(one.serial, False) or one.standing.startswith(LEFT_HELD)
            reasons.setdefault(one.serial, {})[_in_doubt(one)] = None
    alike: dict[tuple[bool, tuple[str, ...]], list[str]] = {}
    for serial, own in reasons.items():
        alike.setdefault((held[serial], tuple(own)), []).append(serial)
    by_then = sorted(alike.items(), key=lambda group: not group[0][0])
    return [(LEFT_HELD if was else "left, not released", own, why) for (was, why), own in by_then]


def _in_doubt(one: PieceToHold) -> str:
    """Say of which figure, and why, a piece is in doubt."""
    about = _SIGNAL.sub("", one.because)
    about = about[:1].lower() + about[1:] if about.startswith("The ") else about
    return _once(figure_words(one.name), about)


def _named(serials: Sequence[str]) -> str:
    """Name all of the pieces of a line that names the first few; empty where it names all."""
    return ", ".join(serials) if len(serials) > NAMED_PIECES else ""


def _once(name: str, about: str) -> str:
    """Write what is in doubt: the figure, and not twice where the sentence begins with it."""
    stage, colon, figure = name.rpartition(": ")
    return f"{stage}{colon}{about}" if about.casefold().startswith(figure.casefold()) else f"{name}: {about}"


def _where(one: PieceToHold, as_of: date) -> str:
    """Say where a piece is as a cell of a table: in this year the year goes without saying."""
    told = one.where.removesuffix(f" {as_of.year}")
    return f"{told[:1].upper()}{told[1:]}"


def _reaction(one: Reaction, as_of: date) -> JsonObject:
    """Lay out one open signal: what was told, who has it, by when."""
    late = one.due is not None and one.due < as_of
    due = day_words(one.due, as_of) if one.due else ""
    since = f" {one.answered}" if one.answered else ""
    return {
        "name": one.name,
        "finding": one.finding or one.name,
        "told": (
            f"{one.name}, signal {one.called}: {one.state} for {count_words(one.age_days, 'day')}, told on "
            f"{day_words(one.opened, as_of)}; {pieces_words(one.pieces)}.{since}"
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
    return f"{die.sentence} {left}, {weeks_words(die.weeks)} at the pace of the last quarter."


def _rework(content: MonthContent) -> JsonObject:
    """Return rework by cause; what is printed adds up to the printed sum."""
    most = max((one.hours for one in content.rework), default=0.0)
    hours = adding_up([one.hours for one in content.rework], HOUR_PLACES)
    hour = content.hour
    costs = adding_up([one.hours * (hour[0] if hour else 0.0) for one in content.rework])
    total = f"{adding_up([content.rework_hours], HOUR_PLACES)[0]} h"
    whole = content.rework_hours
    so_far = [
        running / whole if whole else 0.0 for running in accumulate(one.hours for one in content.rework)
    ]
    return {
        "rework": [
            {
                "cause": one.cause,
                "hours": f"{told} h",
                "cost": cost if hour else "",
                "pieces": pieces_words(one.pieces),
                "width": one.hours / most if most else 0.0,
                "so_far": percent_words(running),
            }
            for one, told, cost, running in zip(content.rework, hours, costs, so_far, strict=True)
        ],
        "rework_total": f"{total}, {content.rework_cost}" if hour else total,
        "currency": hour[1] if hour else "",
    }
