"""The state of a workshop: a line for each series, worst first."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from qc.intervals import interval_words
from qc.plain import JsonObject
from qc.report.terminal.columns import table
from qc.states import LIMITS
from qc.watch import (
    SeriesVerdict,
    behaviour_words,
    forecast_words,
    limits_words,
    moved_words,
    settled_words,
)
from qc.words import (
    count_words,
    dated_words,
    day_words,
    listed,
    pieces_words,
    places_words,
    quantity_words,
    unanswered_words,
)

FEW_SHOPS = 4
"""Chosen: of three workshops the interval of their scatter reaches six times its estimate."""


@dataclass(frozen=True, slots=True)
class WaitingLine:
    """One open signal: its number, its series in words, its kind, who has it, for how many days it waits."""

    name: str
    title: str
    kind: str
    owner: str
    days: int
    overdue: bool = False
    over: bool = False  # its change is over by itself, and nobody has it in hand
    had: str = ""  # who had it before it was opened anew, where nobody has taken it since


def status_text(
    workshop: str,
    as_of: date,
    series: Sequence[SeriesVerdict],
    notes: Sequence[str],
    *,
    known: date | None = None,
    changes: Mapping[str, str] | None = None,
    since: date | None = None,
    waiting: Sequence[WaitingLine] = (),
) -> str:
    """Say how many moved, what is new and which signals wait, then every series in one line, then notes."""
    moved = sum(v.behaviour == "drifting" for v in series)
    settled = sum(v.settled_since is not None for v in series)
    day = f"{workshop}, {as_of:%a} {dated_words(as_of)}"
    then = "" if known is None else f", {known_words(known if known != as_of else None)}"
    head = f"{day}{then}: {_moved_words(moved, settled, len(series), len(waiting))}"
    marks = changes or {}
    if since is not None and series:
        head = f"{head} {changed_words(marks.values(), since)}"
    rows = [
        (
            verdict.title,
            *([marks.get(str(verdict.key), "")] if marks else []),
            behaviour_words(verdict),
            limits_words(verdict),
            _remark(verdict, as_of),
        )
        for verdict in series
    ]
    longest = max((len(v.title) for v in series), default=0)
    widest = max((len(behaviour_words(v)) + 2 for v in series), default=0)
    widths = (longest + 2, *([8] if marks else []), max(18, widest), max(map(len, LIMITS)) + 2)
    lines = table(rows, widths=widths, indent="", gap="")
    open_ones = [*waiting_lines(waiting), ""] if waiting else []
    return "\n".join([head, "", *open_ones, *lines, *(("", *notes) if notes else ())])


def waiting_words(signals: int) -> str:
    """Say how many signals wait for an answer.

    Examples
    --------
    >>> waiting_words(1), waiting_words(2)
    ('1 signal waits for an answer', '2 signals wait for an answer')
    """
    return f"{count_words(signals, 'signal')} {'waits' if signals == 1 else 'wait'} for an answer"


def _holder_words(one: WaitingLine) -> str:
    if one.owner:
        return f"{one.owner} has it in hand"
    return f"opened anew, {one.had} had it" if one.had else "nobody has it in hand"


def waiting_lines(waiting: Sequence[WaitingLine]) -> list[str]:
    """Say which signals wait for an answer, who has each and for how long; nothing where none does.

    Examples
    --------
    >>> one = WaitingLine("3", "Bow: Rise", "shift", "", 12, overdue=True)
    >>> head, *rows = waiting_lines([one, WaitingLine("5", "Bow: Width", "single", "", 30, over=True)])
    >>> head
    '1 signal waits for an answer: qc signals'
    >>> rows[0].split("  ")
    ['', '3', 'Bow: Rise, shift', 'nobody has it in hand', '12 days, overdue']
    >>> rows[1].strip()
    '5  is over by itself and not answered: what it holds stays held'
    """
    if not waiting:
        return []
    last = [one for one in waiting if not one.over]
    rows = [
        (
            one.name,
            f"{one.title}, {one.kind}",
            _holder_words(one),
            _age_words(one),
        )
        for one in last
    ]
    over = [one.name for one in waiting if one.over]
    lines = table(rows)
    if over:
        verb, hold = ("is", "it holds") if len(over) == 1 else ("are", "they hold")
        ending = "by itself" if len(over) == 1 else "by themselves"
        lines.append(f"  {listed(over)}  {verb} over {ending} and not answered: what {hold} stays held")
    return [f"{waiting_words(len(last) or len(over))}: qc signals", *lines]


def _age_words(one: WaitingLine) -> str:
    days = count_words(one.days, "day") if one.days else "since today"
    return f"{days}, overdue" if one.overdue else days


def series_line(verdict: SeriesVerdict, today: date) -> str:
    """Say in one line how a series stands: its behaviour, its limits, since when and with what."""
    said = (behaviour_words(verdict), limits_words(verdict), _remark(verdict, today))
    return f"{verdict.title}: {', '.join(one for one in said if one)}"


def shops_text(group: str, shops: Sequence[JsonObject]) -> str:
    """Say how the workshops of a group stand, a paragraph each, in the order given."""
    head = [f"{count_words(len(shops), 'workshop')} in {group}, worst first"] if group else []
    return "\n\n".join([*head, *("\n".join(_shop(one)) for one in shops)])


def _shop(one: JsonObject) -> list[str]:
    """Say how one workshop of a group stands, the worst first; one that could not be asked says why."""
    if one["fault"]:
        return [f"{one['folder']} could not be asked", f"  {one['fault']}"]
    day = date.fromisoformat(one["as_of"])
    moved = _moved_words(one["drifting"], 0, one["series"], one["open_signals"])
    waits = [
        f"{count_words(count, name)} {'waits' if count == 1 else 'wait'}"
        for count, name in ((one["open_signals"], "signal"), (one["held_rows"], "held row"))
        if count
    ]
    if one["to_hold"]:
        waits.append(f"{pieces_words(one['to_hold'])} to hold")
    newest = one["last_hand_in"]
    came = f"Last sheet handed in on {dated_words(date.fromisoformat(newest))}." if newest else ""
    where = f"Drifting at: {listed(one['stages'])}." if one["stages"] else ""
    outside = (
        f"{count_words(one['outside'], 'series', 'series')} outside what the plan asks"
        if one["outside"]
        else ""
    )
    told = "; ".join(text for text in (outside, *waits) if text)
    lines = [f"{one['folder']}: {one['workshop']}, {day:%a} {dated_words(day)}: {moved}"]
    said = (one["worst"], where, told and f"{told}.", came, one["not_judged"], one["budget"])
    return [*lines, *(f"  {text}" for text in said if text)]


def apart_words(workshop: str, interval: tuple[float, float], unit: str, shops: int) -> str:
    """Say how far one workshop is from the mean of those compared.

    Examples
    --------
    >>> apart_words("Elm", (0.012, 0.031), "mm", 4)
    'Elm is 12 to 31 µm above the mean of the 4 workshops.'
    >>> apart_words("Elm", (-3.0, 8.0), "um", 2)
    'Elm may be the same as the others: between 3.0 µm below and 8.0 µm above the mean of the 2 workshops.'
    """
    low, high = interval
    mean = f"the mean of the {shops} workshops"
    if low > 0.0 or high < 0.0:
        near, far = sorted((abs(low), abs(high)))
        small, large = quantity_words(near, unit), quantity_words(far, unit)
        if small.split()[1:] == large.split()[1:]:
            small = small.split()[0]
        return f"{workshop} is {small} to {large} {'above' if low > 0.0 else 'below'} {mean}."
    below, above = quantity_words(-low, unit), quantity_words(high, unit)
    return f"{workshop} may be the same as the others: between {below} below and {above} above {mean}."


def compared_text(plain: JsonObject) -> str:
    """Say how the workshops of a group differ in one figure, a paragraph for each model."""
    lines = [f"{plain['name']}, compared between the workshops in {plain['group']}"]
    for model in plain["models"]:
        common, apart = between_lines(model)
        lines += ["", f"{model['model_name']}: {common}", f"  {apart}"]
        rows = [
            (f"  {one['folder']}", pieces_words(one["pieces"]), _level(one, model["unit"]), one["sentence"])
            for one in model["shops"]
        ]
        lines += table(rows, indent="")
    return "\n".join([*lines, *(("", *plain["left_out"]) if plain["left_out"] else ())])


def between_lines(model: JsonObject) -> tuple[str, str]:
    """Say what the workshops that make a model have in common, and how far they are apart."""
    unit, count = model["unit"], len(model["shops"])
    least, most = model["interval"]
    mean = interval_words(model["mean"], least, most, unit)
    low, high = model["between_interval"]
    between = interval_words(model["between"], low, high, unit)
    apart = "that they are all the same fits the readings too" if low == 0.0 else "they do differ"
    few = " Of so few workshops little can be said about that." if count < FEW_SHOPS else ""
    return (
        f"{count} workshops, mean {mean}.",
        f"From workshop to workshop the true mean scatters by {between}, one standard deviation: "
        f"{apart}.{few}",
    )


def _level(one: JsonObject, unit: str) -> str:
    target = "" if one["target"] is None else f", target {quantity_words(one['target'], unit)}"
    return f"{quantity_words(one['mean'], unit)}{target}"


def known_words(day: date | None) -> str:
    """Say that an answer is that of a past day, named where it is not the day just named."""
    return f"as it was known {'that day' if day is None else f'on {dated_words(day)}'}"


def changed_words(changes: Collection[str], since: date) -> str:
    """Say how many series are new, worse, better and gone since a day.

    Examples
    --------
    >>> changed_words(["new", "gone", "new"], date(2026, 6, 29))
    'Since 29 Jun 2026: 2 new and 1 gone.'
    """
    counts = [(sum(one == word for one in changes), word) for word in ("new", "worse", "better", "gone")]
    said = (
        listed([f"{count} {word}" for count, word in counts if count]) or "nothing new, worse, better or gone"
    )
    return f"Since {dated_words(since)}: {said}."


def _moved_words(moved: int, settled: int, total: int, waiting: int) -> str:
    """Say how many series moved; not that all are as they were while one is unanswered, or a signal waits."""
    if total == 0:
        return "nothing has been measured yet."
    unanswered = unanswered_words(settled)
    if moved == 0 and waiting and not settled:
        return f"no series drifts; {waiting_words(waiting)}."
    if moved == 0:
        return f"no series drifts; {unanswered}." if settled else f"all {total} series are as they were."
    drifting = f"{moved} of {total} series {'has' if moved == 1 else 'have'} moved"
    return f"{drifting}; {unanswered}." if settled else f"{drifting}."


def _remark(verdict: SeriesVerdict, today: date) -> str:
    """Say what moved and since when; of a series that stays, what is known of its tool or its limits."""
    signal = verdict.telling
    if signal is not None:
        moved = moved_words(signal, verdict.kind)
        first = f"{moved} " if moved else ""
        cause = f"; coincides with {signal.suspects[0].sentence}" if signal.suspects else ""
        return f"{first}since {signal.since_serial} ({day_words(signal.since_day, today)}){cause}"
    settled = settled_words(verdict, today)
    if settled:
        return settled
    if verdict.forecast is not None:
        return forecast_words(verdict.forecast, today)
    if verdict.ppk is not None:
        ends = (verdict.ppk, verdict.ppk_low, verdict.ppk_high)
        index, low, high = (places_words(end or 0.0, 2) for end in ends)
        return f"Ppk {index} ({low} to {high}) from {verdict.rests_on}"
    return ""
