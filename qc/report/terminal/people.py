"""The list of people, and what became of one of them."""

from __future__ import annotations

from collections.abc import Sequence

from qc.report.terminal.columns import table


def people_text(rows: Sequence[tuple[str, str, str, str]]) -> str:
    """Set code, name, role and state of each person in columns.

    Examples
    --------
    >>> print(people_text([("BK", "", "technician", "at work since 3 November 2025")]))
    BK  technician  at work since 3 November 2025
    """
    if not rows:
        return "The list of people is empty. Add the first: qc people add CODE --role owner"
    named = any(name for _, name, _, _ in rows)
    shown = rows if named else [(code, role, state) for code, _, role, state in rows]
    return "\n".join(table(shown, indent=""))


def person_text(sentence: str, once: str, until: str, notes: Sequence[str]) -> str:
    """Say what was done; the one-time code alone on its line, so that it can be copied."""
    lines = [sentence]
    if once:
        lines += [
            f"One-time code, taken once and until {until}; it is shown only now:",
            "",
            once,
            "",
            "Hand it over in person. The first sign-in on the board uses it up and sets PIN and password.",
        ]
    return "\n".join([*lines, *notes])
