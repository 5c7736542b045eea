"""Short answers about a whole workshop: made, judged anew, proven whole, reported on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from qc.report.terminal.columns import table
from qc.words import command_words, count_words, listed


def new_workshop_text(folder: Path, plan_file: Path) -> str:
    """Say what was made and how to go on."""
    return (
        f"Made the workshop {folder}.\n"
        f"1. Edit {plan_file}: your models, stages, limits, gauges and people.\n"
        f"2. Check it: qc plan check --workshop {folder}\n"
        f"3. Hand in the first sheets: qc upload --workshop {folder} FILE..."
    )


def proposed_plan_text(
    folder: Path,
    plan_file: Path,
    stages: Sequence[str],
    guessed: Sequence[str],
    read: tuple[int, int],
    left: Sequence[str],
    lists: Sequence[str] = (),
) -> str:
    """Say what a plan proposed from sheets holds, how much of them it reads, and what is left to do.

    Parameters
    ----------
    folder, plan_file : Path
        The workshop and its plan.
    stages, guessed : sequence of str
        Stages with their figures; figures whose unit nobody wrote.
    read : (int, int)
        Readings that go in with this plan, and all on the sheets.
    left : sequence of str
        What is said of sheets and rows that do not.
    lists : sequence of str
        Titles of the cards that list events.
    """
    accepted, rows = read
    handed = f"With it {accepted} of {count_words(rows, 'reading')} on the sheets can go in; none is yet."
    lines = [
        f"Made the workshop {folder} with a plan proposed from the sheets.",
        *(f"  {stage}" for stage in stages),
        *([f"  lists: {', '.join(lists)}"] if lists else []),
        handed,
    ]
    if left:
        lines += ["Not yet:", *(f"  {one}" for one in left)]
    if guessed:
        lines.append(f"Nobody wrote a unit for {listed(list(guessed))}: look at it in the plan.")
    return "\n".join(
        [
            *lines,
            f"1. Look through {plan_file}: OPEN stands before what no sheet says, limits above all.",
            f"2. Check it: {command_words('plan', 'check', '--workshop', str(folder))}",
            f"3. Hand in the sheets: {command_words('upload', '--workshop', str(folder))} SHEET...",
        ]
    )


def rejudged_text(series: int, changed: Sequence[str], *, already: bool = False) -> str:
    """Say which verdicts differ from those kept, and where that stands on record already."""
    if not changed:
        once = " That stands already and was not recorded a second time." if already else ""
        return f"{series} series judged from nothing: every verdict is as it was kept.{once}"
    return _under(f"{series} series judged from nothing; changed since they were kept:", changed)


def verified_text(entries: int, head: str, faults: Sequence[str], noted: int | None = None) -> str:
    """Say that nothing was altered, or what was, and the last hash; `noted`: whose hash was asked about."""
    last = f"Last hash: {head or 'none yet'}"
    if noted is not None:
        last = f"The hash that was noted is that of entry {noted} of {entries}.\n{last}"
    if not faults:
        return f"All {entries} entries, their rows and their sheets are as they were accepted.\n{last}"
    return "\n".join([_under("Something was altered or lost:", faults), last])


def month_text(answer: Mapping[str, Any], files: Sequence[Path]) -> str:
    """Say what the month was, whether it is closed, where the report lies, and the hash it was made by."""
    told = _under(answer["headline"], [str(path) for path in files])
    closed = [answer["closed"]] if answer["closed"] else []
    return "\n".join([told, *closed, f"Last hash: {answer['last_hash']}"])


def backup_text(
    folder: Path, entries: int, sheets: int, head: str, faults: Sequence[str], remark: str
) -> str:
    """Say where a backup lies and that it was proven, or what is wrong."""
    if faults:
        told = f"The copy in {folder} is not sound, nor is the workshop. Keep older backups:"
        return _under(told, faults)
    made = f"Backup in {folder}: {entries} entries and {sheets} sheets, proven as they were accepted."
    return "\n".join([made, f"Last hash: {head}", *([remark] if remark else [])])


def restored_text(folder: Path, entries: int, head: str) -> str:
    """Say that a workshop is back and how to go on."""
    return (
        f"Brought back to {folder}: {entries} entries, their rows and their sheets, proven as they were.\n"
        f"Last hash: {head}\nGo on with: qc status --workshop {folder}"
    )


def export_text(folder: Path, rows: Sequence[tuple[str, int, str]], note: str) -> str:
    """Say which table with how many rows stands in which file."""
    lines = table([("table", "rows", "file"), *((name, str(n), file) for name, n, file in rows)], "<><")
    told = f"Exported to {folder}; the table `dictionary` says what each column means."
    return "\n".join([told, *lines, *([note] if note else [])])


def backup_note_text(days: int, made: bool) -> str:
    """Remind of a backup that is due."""
    since = f"The last backup is {days} days old" if made else "No backup was made yet"
    return f"{since}: make one on another disk with `qc backup DIR`."


def demo_text(made: str, status: str, report: str) -> str:
    """Say what was made, the state of every series, and where the report lies."""
    return "\n".join([made, "", status, "", "Last month's report:", report])


def _under(head: str, items: Sequence[str]) -> str:
    return "\n".join([head, *(f"  {item}" for item in items)])
