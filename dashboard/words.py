"""Numbers, days and states in the words of the bench."""

from __future__ import annotations

import re
from datetime import date
from math import floor, log10

from qc.intervals import interval_words
from qc.jobs.board import (
    IN_100,
    LEARNING,
    LEAST_FOR_INDEX,
    BudgetView,
    SeriesVerdict,
    SeriesView,
    SignalResult,
    StageView,
    StretchResult,
    budget_words,
    limits_words,
    settled_words,
)
from qc.states import KEPT, NO_LIMITS, NOT_KEPT, NOTHING_MEASURED, TOO_FEW
from qc.words import (
    MONTHS,
    count_words,
    dated_words,
    day_words,
    figure_words,
    passed_words,
    pieces_words,
    quantity_words,
    unanswered_words,
    unit_words,
    whole_words,
)

CHART_UNITS = {"fault": "", "mm2": "mm²", "C": "C"}
"""Units that stand on a chart otherwise than in a sentence: there a number of faults needs no word for it."""

ASCII_UNIT = re.compile(r"(?<=\d )um\b|(?<![\[\w])cm3/min\b")
"""Units as a keyboard without their signs writes them."""

SETTLE_MOST = 1000
"""A number of further pieces beyond this one is no plan."""

REACHED_MONTHS = 24
"""What takes longer than two years to settle is no plan either (chosen)."""

DAYS_OF_A_MONTH = 365.25 / 12

SO_NEAR = "It is so near to what is wanted that"

SMALL_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def unit(code: str) -> str:
    """Return a unit of measure as written on a chart.

    Examples
    --------
    >>> unit("um")
    'µm'
    """
    return CHART_UNITS.get(code, unit_words(code))


def units_in(sentence: str) -> str:
    """Return a sentence with the signs of its units; a column's name in square brackets stays as it is.

    Examples
    --------
    >>> units_in("0.03 um is usual only as mm; leaks are in cm3/min. See [um].")
    '0.03 µm is usual only as mm; leaks are in cm³/min. See [um].'
    """
    return ASCII_UNIT.sub(lambda found: unit(found.group()), sentence)


def day(when: date | None, year: bool = False) -> str:
    """Return ``9 Oct`` or ``9 Oct 2026``; an empty text for no day.

    Examples
    --------
    >>> day(date(2026, 10, 9))
    '9 Oct'
    """
    return dated_words(when) if year and when else day_words(when)


def long_day(when: date) -> str:
    """Return ``Tuesday 24 November 2026``."""
    return f"{when:%A} {when.day} {MONTHS[when.month - 1]} {when.year}"


def number(value: float, decimals: int = 1, signed: bool = False) -> str:
    """Return a figure with a true minus sign, and a plus where deviations are meant.

    Examples
    --------
    >>> number(-1.26), number(3.0, 0, signed=True)
    ('−1.3', '+3')
    """
    text = f"{value:+.{decimals}f}" if signed else f"{value:.{decimals}f}"
    return figure_words(text)


def amount(value: float, code: str, decimals: int = 1, signed: bool = False) -> str:
    """Return a figure with its unit: ``+22.9 mm``."""
    return f"{number(value, decimals, signed)} {unit(code)}".rstrip()


def difference(value: float, code: str, signed: bool = False) -> str:
    """Return a difference, a pace or a spread as the sentences tell it: under a tenth of a mm in micrometres.

    Examples
    --------
    >>> difference(0.069, "mm", signed=True), difference(0.0042, "mm"), difference(-1.6, "cent", signed=True)
    ('+69 µm', '4.2 µm', '−1.6 cents')
    """
    told = quantity_words(value, code)
    return f"+{told}" if signed and value > 0 else told


def figure(verdict: SeriesVerdict, value: float) -> str:
    """Return the figure of a piece as its series is told: with unit and decimals, or pass or fail."""
    if verdict.kind == "pass-fail":
        return passed_words(value)
    return amount(value, verdict.unit, decimals_of(verdict), verdict.centered)


def sized(value: float, low: float, high: float, code: str) -> str:
    """Return a deviation with its interval and unit, as the month's report writes it, with true signs.

    Examples
    --------
    >>> sized(0.0139, 0.0108, 0.0171, "mm")
    '+14 µm (+11 to +17, 95 %)'
    """
    return interval_words(value, low, high, code, signed=True)


def bound(value: float, code: str, signed: bool = False) -> str:
    """Return a limit or target as the plan writes it, without empty decimals: ``+12 mm``.

    Examples
    --------
    >>> bound(-12.0, "mm", signed=True), bound(13.85, "mm")
    ('−12 mm', '13.85 mm')
    """
    text = f"{value:+g}" if signed and value else f"{value:g}"
    return f"{figure_words(text)} {unit(code)}".rstrip()


def decimals_of(verdict: SeriesVerdict) -> int:
    """Return how many decimals show a tenth of the spread of a series, 0 to 3.

    A figure is written no finer than it can be told apart: a spread of 4 µm needs one decimal.
    """
    if verdict.kind != "measured" and all(point.value.is_integer() for point in verdict.points):
        return 0
    spread = verdict.sd_between or _range_spread(verdict)
    if not spread:
        return 1
    return min(3, max(0, 1 - floor(log10(spread))))


def step_decimals(step: float) -> int:
    """Return how many decimals a gauge of this step shows.

    Examples
    --------
    >>> step_decimals(0.001), step_decimals(0.05), step_decimals(1.0)
    (3, 2, 0)
    """
    return max(0, -floor(log10(step) + 1e-9))


def counted(count: int, one: str, many: str) -> str:
    """Return a small count in words: ``three stages``."""
    word = SMALL_NUMBERS[count] if count < len(SMALL_NUMBERS) else str(count)
    return f"{word} {one if count == 1 else many}"


def state_of_stage(stage: StageView) -> str:
    """Return the behaviour of a stage in words: ``drifting, 1 of 6``."""
    if stage.behaviour == "drifting" and stage.series > 1:
        return f"{stage.behaviour}, {stage.moved} of {stage.series}"
    if stage.behaviour == "learning" and stage.pieces:
        return f"{stage.behaviour}, {stage.pieces} of {LEARNING} pieces"
    return stage.behaviour


def headline(stages: tuple[StageView, ...], settled: int = 0, waiting: int = 0) -> str:
    """Return the first sentence of the board; `waiting`: open signals that no finding tells of.

    Examples
    --------
    >>> headline(())
    'No stage is set up yet.'
    """
    if not stages:
        return "No stage is set up yet."
    moved = sum(s.behaviour == "drifting" for s in stages)
    learning = sum(s.behaviour == "learning" for s in stages)
    same = len(stages) - moved - learning
    if not moved and not same:
        return f"{counted(learning, 'stage is', 'stages are').capitalize()} still learning."
    if not moved and not learning:
        text = "no stage drifts" if settled or waiting else "every stage is as it was"
    elif not moved:
        text = f"{counted(same, 'stage is', 'stages are')} as {'it was' if same == 1 else 'they were'}"
    else:
        text = f"{counted(moved, 'stage has', 'stages have')} moved"
        if same:
            text += f", {counted(same, 'is', 'are')} as {'it was' if same == 1 else 'they were'}"
    if learning:
        text += f", {counted(learning, 'is', 'are')} still learning"
    text += f"; {unanswered_words(settled)}" if settled else ""
    more = "more " if moved else ""
    wait = counted(waiting, f"{more}open signal waits", f"{more}open signals wait")
    text += f"; {wait}" if waiting else ""
    return text[0].upper() + text[1:] + "."


def mean(verdict: SeriesVerdict, value: float) -> str:
    """Return a mean with its unit; that of whole numbers keeps a decimal."""
    if verdict.unit == IN_100:  # a running rate, as the sentences say it
        return f"{number(value)} {IN_100}"
    decimals = decimals_of(verdict) + {"measured": 0, "count": 1, "pass-fail": 3}[verdict.kind]
    return amount(value, verdict.unit, min(3, decimals), verdict.centered)


def between(verdict: SeriesVerdict) -> str:
    """Return the limits of a series in words: ``20 µm to 44 µm``, ``at most 4 N``, empty without limits."""
    low, high = verdict.lower, verdict.upper
    if low is None and high is None:
        return ""
    if low is None or high is None:
        only, side = (high, "at most") if low is None else (low, "at least")
        return f"{side} {bound(only or 0.0, verdict.unit, verdict.centered)}"
    return f"{bound(low, '', verdict.centered)} to {bound(high, verdict.unit, verdict.centered)}"


def finding(verdict: SeriesVerdict) -> str:
    """Return what is to be said first of a series: the signal's sentence, else that it is quiet."""
    signal = verdict.telling
    if signal is not None and signal.sentence:
        return signal.sentence
    settled = settled_words(verdict, verdict.points[-1].day) if verdict.points else ""
    if settled:
        return f"{settled[0].upper()}{settled[1:]}."
    if verdict.behaviour == "learning":
        return f"Still learning: {pieces_words(verdict.pieces)} so far, too few to judge."
    stretch = current_stretch(verdict)
    if stretch is None:
        return "No piece measured yet."
    if verdict.kind != "measured":
        rate = (
            f"{number(100 * stretch.mean)} in 100"
            if verdict.kind == "pass-fail"
            else mean(verdict, stretch.mean)
        )
        each = " a piece" if verdict.kind == "count" else ""
        return f"As it was: {rate}{each} over {pieces_words(stretch.n)}."
    off = " from target" if verdict.centered else ""
    if stretch.line_to is not None:  # as the chart says it: a line that wears has no one mean
        there = mean(verdict, stretch.line_to)
        return f"As it was: {pieces_words(stretch.n)} along the line of the tool, now at {there}{off}."
    about = mean(verdict, stretch.mean)
    return f"As it was: {pieces_words(stretch.n)} around {about}{off}."


def current_stretch(verdict: SeriesVerdict) -> StretchResult | None:
    """Return the stretch that holds now."""
    return verdict.stretches[-1] if verdict.stretches else None


def capability(view: SeriesView) -> tuple[str, str]:
    """Return how a series stands to its limits, by its name in bold, and the sentence after it."""
    said = limits_words(view.verdict)
    return f"{said.capitalize()}.", _why(view, said)


def _why(view: SeriesView, said: str) -> str:
    """Say what the answer about the limits rests on, and what would settle an open one."""
    if said == NOTHING_MEASURED:
        return ""
    if said == NO_LIMITS:
        return "The plan asks for no limits here, so nothing is judged against them."
    if said == TOO_FEW:
        return f"{_few(view.verdict)} {_settle(view)}".rstrip()
    figure = _ppk_sentence(view)
    if said == NOT_KEPT:
        return f"{_outside(view.verdict)}{_from_few(view) or figure}"
    return figure if said == KEPT else f"{figure} {_settle(view)}".rstrip()


def budget_sentence(budget: BudgetView) -> str:
    """Return how often the whole board cries wolf at this setting.

    Examples
    --------
    >>> budget_sentence(BudgetView(30.4, 84, 0.001))
    'At this setting: about one false signal in 30 days over 84 series.'
    """
    return budget_words(budget.days, budget.series)


def _ppk_sentence(view: SeriesView) -> str:
    verdict = view.verdict
    if verdict.ppk is None:
        reason = verdict.ppk_reason or "Too few pieces since the last change"
        return reason if reason.endswith((".", "!", "?")) else f"{reason}."
    interval = (
        f" ({verdict.ppk_low:.2f} to {verdict.ppk_high:.2f})"
        if verdict.ppk_low is not None and verdict.ppk_high is not None
        else ""
    )
    rests = pieces_words(view.verdict.rests_on)
    return f"Ppk {verdict.ppk:.2f}{interval} from {rests}, {view.wanted_ppk:.2f} wanted.".replace("-", "−")


def _few(verdict: SeriesVerdict) -> str:
    """Say how many pieces there are and from how many on a Ppk is given: that settles nothing yet."""
    since = "since the last change" if len(verdict.stretches) > 1 else "so far"
    return f"{pieces_words(verdict.rests_on)} {since}; a Ppk is given from {LEAST_FOR_INDEX} on."


def _settle(view: SeriesView) -> str:
    """Say how many more pieces would settle an open answer; a few do not say how near it is."""
    more = view.verdict.pieces_to_settle
    if more is None or more > SETTLE_MOST:
        near = view.verdict.ppk is not None or more is not None and view.verdict.rests_on >= LEAST_FOR_INDEX
        return f"{SO_NEAR} more pieces alone will not settle whether the limits are kept." if near else ""
    if not more:
        return ""
    about = "1 more piece like these" if more == 1 else f"{whole_words(more)} more pieces like these"
    pace = monthly_pace(view.verdict)
    months = more / pace if pace else 0.0
    lasts = f", {lasting_words(months)} at the {max(1, round(pace))} a month of late" if pace else ""
    if months <= REACHED_MONTHS:
        return f"About {about}{lasts and lasts + ','} would settle whether the limits are kept."
    why = "so few cannot settle whether the limits are kept"
    return f"It would take about {about}{lasts}: {why}. Less scatter, or a mean nearer to the middle, can."


def monthly_pace(verdict: SeriesVerdict) -> float | None:
    """Return how many pieces a month a series had in its last quarter; None of one younger than a month."""
    ages = [(verdict.points[-1].day - p.day).days for p in verdict.points]
    quarter = min(float(ages[0]), 3 * DAYS_OF_A_MONTH) if ages else 0.0
    return sum(a < quarter for a in ages) * DAYS_OF_A_MONTH / quarter if quarter > DAYS_OF_A_MONTH else None


def lasting_words(months: float) -> str:
    """Say how long something takes.

    Examples
    --------
    >>> lasting_words(0.4), lasting_words(4.8), lasting_words(148.0)
    ('2 weeks', '5 months', '12 years')
    """
    if (weeks := months * DAYS_OF_A_MONTH / 7) < 8:
        return count_words(max(1, round(weeks)), "week")
    return count_words(round(months), "month") if months < 24 else count_words(round(months / 12), "year")


def _from_few(view: SeriesView) -> str:
    """Say what a "no" rests on where the pieces are too few for an index of their own."""
    if view.verdict.ppk is not None:
        return ""
    return (
        f"The {pieces_words(view.verdict.rests_on)} since the last change are too few for a Ppk of their "
        f"own, but enough to say, 95 in 100 sure, that it is below the {view.wanted_ppk:.2f} wanted."
    )


def start_set(signal: SignalResult) -> tuple[int, int]:
    """Return the pieces among which a change began, 9 in 10 sure; one piece apart is the piece itself."""
    if signal.kind == "single":
        return signal.start, signal.start
    return signal.start_low, signal.start_high


def _outside(verdict: SeriesVerdict) -> str:
    if verdict.outside_share is None:
        return ""
    share = 100 * verdict.outside_share
    if share < 1:
        return "Fewer than 1 in 100 would be outside. "
    low = 100 * verdict.outside_low if verdict.outside_low is not None else 0.0
    least = f" (at least {low:.0f})" if round(low) else ""  # "at least 0" says nothing
    return f"About {share:.0f} in 100 would be outside{least}. "


def _range_spread(verdict: SeriesVerdict) -> float:
    values = [point.value for point in verdict.points]
    return (max(values) - min(values)) / 4 if values else 0.0
