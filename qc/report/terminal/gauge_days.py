"""A gauge over days as a person reads it: the finding and what to do first, then the figures."""

from __future__ import annotations

import math
from collections.abc import Mapping

from qc.intervals import digits_words
from qc.report.terminal.columns import Row, notes, table
from qc.report.terminal.gauge import guard_line
from qc.stats import CheckStandard, GuardBand, NestedLevels, RepeatSets
from qc.words import count_words

_BAR = 24  # letters of the widest bar
_NAMED_DAYS = 6  # in the first sentence
_SHOWN_DAYS = 60  # rows; the rest is in --json
_LEVELS = {
    "repeat_sd": ("repeats", "readings of one day about their average"),
    "day_sd": ("averages of days", "daily averages within a run"),
    "run_sd": ("averages of runs", "averages of whole runs"),
}
_ADDED = {"repeat_sd": "repeats", "days_sd": "days", "runs_sd": "runs"}
_REMEDY = {
    "repeat_sd": "Most of it is there within a day: the mean of several readings helps.",
    "days_sd": "Most of it comes and goes with the day: more readings on the same day do not help; zero the "
    "gauge on a standard each day and note what differs (room, hands, fixture).",
    "runs_sd": "Most of it comes with the run: more readings or days within a run do not help; find what "
    "changes from run to run (set-up, adjustment, season).",
}


def over_days_text(
    sets: RepeatSets, levels: NestedLevels, guard: GuardBand | None, value: str, file: str
) -> str:
    """Say what repeats, days and runs add to a reading; the guard band is by the sd of a reading."""
    low, high = levels.intervals["reading_sd"]
    sure = f"{100 * levels.confidence:g} % sure between {low:.4g} and {high:.4g}"
    when = "day" if levels.run_sd is None else "day of any run"
    finding = f"One reading on any {when} scatters by {levels.reading_sd:.4g} (sd; {sure})."
    lines = [
        f"{finding} {_remedy(levels)}".rstrip(),
        "",
        f"{value} in {file}: {_size(sets)}",
        "",
        *table(_level_rows(levels), "<>>>><"),
        "",
        "What each adds to one reading by itself",
        *table(_added_rows(levels), "<>>><"),
    ]
    if guard is not None:
        lines += ["", guard_line(guard)]
    return "\n".join(lines + notes(levels.warnings))


def check_standard_text(
    sets: RepeatSets, found: CheckStandard, outside: Mapping[str, tuple[str, ...]], value: str, file: str
) -> str:
    """Say which days of a check standard are outside, and what to do; `outside` is by day, in words."""
    days = len(sets.days)
    # average and spread of a day are independent, so both inside is the product of their chances
    chance = 1.0 - found.confidence * math.erf(found.factor / math.sqrt(2.0))
    lines = [
        _standard_verdict(days, outside),
        "",
        f"{value} in {file}: {days} days x {sets.repeats} readings",
        f"By chance alone about {chance * days:.1f} of {days} days lie outside one of the two limits.",
        "",
        f"averages: centre {digits_words(found.center, 6)}, limits {digits_words(found.lower, 6)} to "
        f"{digits_words(found.upper, 6)} "
        f"({found.factor:g} sds of {found.average_sd:.4g})",
        f"sd of a day's repeats: {found.repeat_sd:.4g} ({found.repeat_df} degrees of freedom), limit "
        f"{found.sd_limit:.4g} ({100 * found.confidence:g} %)",
        "",
    ]
    rows: list[Row] = [("day", "average", "sd", "")]
    for day, average, sd in zip(sets.days, sets.averages, sets.sds, strict=True):
        what = " and ".join(outside.get(day, ()))
        rows.append((day, digits_words(average, 6), f"{sd:.4g}", f"{what} outside" if what else ""))
    lines += table(rows[: _SHOWN_DAYS + 1], "<>><")
    if days > _SHOWN_DAYS:
        lines.append(f"  and {days - _SHOWN_DAYS} more days: --json holds all")
    return "\n".join(lines + notes(found.warnings))


def _standard_verdict(days: int, outside: Mapping[str, tuple[str, ...]]) -> str:
    """Say the days outside, and what to do about them."""
    if not outside:
        return f"All {days} days lie inside the limits: the gauge reads the standard as it did."
    named = [f"{day} ({' and '.join(what)})" for day, what in outside.items()]
    more = f" and {len(named) - _NAMED_DAYS} more" if len(named) > _NAMED_DAYS else ""
    return (
        f"Outside the limits: day {'; '.join(named[:_NAMED_DAYS])}{more}. Look for the cause of each day. "
        "Where the last day is outside, clean and zero the gauge and measure the standard again before the "
        "gauge is used; if it stays outside, what was read since the last good day is in doubt."
    )


def _remedy(levels: NestedLevels) -> str:
    """Say which level most of the variance comes from, and what helps; nothing where there is none."""
    if levels.reading_sd == 0.0:
        return ""
    for name, words in _REMEDY.items():
        if 2.0 * (getattr(levels, name) or 0.0) ** 2 > levels.reading_sd**2:
            return words
    return "No one level makes most of it."


def _size(sets: RepeatSets) -> str:
    """Count parts, runs, days and repeats."""
    things = 1 if sets.parts is None else len(set(sets.parts))
    series = 1 if sets.runs is None else len(set(sets.runs))
    words = [count_words(things, "part")]
    words += [] if sets.runs is None else [f"{series} runs"]
    words += [f"{len(sets.days) // (things * series)} days", f"{sets.repeats} readings"]
    return " x ".join(words)


def _level_rows(levels: NestedLevels) -> list[Row]:
    """Sd of each level, as measured."""
    rows: list[Row] = [("level", "sd", "df", "from", "to", "spread of")]
    for name, (word, meaning) in _LEVELS.items():
        if name in levels.intervals:
            low, high = levels.intervals[name]
            df = getattr(levels, name.replace("_sd", "_df"))
            sd = getattr(levels, name)
            if levels.run_sd is None:
                meaning = meaning.removesuffix(" within a run")
            rows.append((word, f"{sd:.4g}", str(df), f"{low:.4g}", f"{high:.4g}", meaning))
    return rows


def _added_rows(levels: NestedLevels) -> list[Row]:
    """Sd that each level adds by itself, with its share of the variance of a reading."""
    rows: list[Row] = [("", "sd", "from", "to", "share of variance")]
    for name, word in _ADDED.items():
        if name in levels.intervals:
            low, high = levels.intervals[name]
            sd = getattr(levels, name)
            share = (sd / levels.reading_sd) ** 2 if levels.reading_sd > 0 else 0.0
            bar = f"{100 * share:3.0f} % {'▇' * round(_BAR * share)}"
            rows.append((word, f"{sd:.4g}", f"{low:.4g}", f"{high:.4g}", bar))
    return rows
