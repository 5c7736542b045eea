"""Short answers about a whole workshop: made, judged anew, proven whole, reported on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path


def new_workshop_text(folder: Path, plan_file: Path) -> str:
    """Say what was made and how to go on."""
    return (
        f"Made the workshop {folder}.\n"
        f"1. Edit {plan_file}: your models, stages, limits, gauges and people.\n"
        f"2. Check it: qc plan check --workshop {folder}\n"
        f"3. Hand in the first sheets: qc upload --workshop {folder} FILE..."
    )


def rejudged_text(series: int, changed: Sequence[str]) -> str:
    """Say which verdicts differ from those kept."""
    if not changed:
        return f"{series} series judged from nothing: every verdict is as it was kept."
    return _under(f"{series} series judged from nothing; changed since they were kept:", changed)


def verified_text(entries: int, head: str, faults: Sequence[str]) -> str:
    """Say that nothing was altered, or what was, and the last hash."""
    last = f"Last hash: {head or 'none yet'}"
    if not faults:
        return f"All {entries} entries, their rows and their sheets are as they were accepted.\n{last}"
    return "\n".join([_under("Something was altered or lost:", faults), last])


def month_text(headline: str, files: Sequence[Path], last_hash: str) -> str:
    """Say what the month was, where the report lies, and the last hash of the store."""
    return "\n".join([_under(headline, [str(path) for path in files]), f"Last hash: {last_hash}"])


def demo_text(made: str, status: str, report: str) -> str:
    """Say what was made, the state of every series, and where the report lies."""
    return "\n".join([made, "", status, "", "Last month's report:", report])


def _under(head: str, items: Sequence[str]) -> str:
    return "\n".join([head, *(f"  {item}" for item in items)])
