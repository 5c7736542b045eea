"""The one way to set lines in columns; never wrapped, so that they paste into a message as they are."""

from __future__ import annotations

from collections.abc import Sequence

Row = tuple[str, ...]


def table(
    rows: Sequence[Row],
    sides: str = "<",
    *,
    widths: Sequence[int] = (),
    indent: str = "  ",
    gap: str = "  ",
) -> list[str]:
    """Set rows in columns, each as wide as its longest cell.

    Parameters
    ----------
    rows : sequence of Row
        A row may stop short of the others.
    sides : str
        ``<`` for a column of words and ``>`` for one of numbers; the last holds for all that follow.
    widths : sequence of int
        Of the columns, the last for all that follow, where they must not hang on the cells.
    indent, gap : str
        What stands before a row and between two cells.

    Returns
    -------
    list of str
        One line a row, without blanks at its end.

    Examples
    --------
    >>> table([("shift", "average"), ("0", "370.4"), ("1.5", "15")], "<>", indent="")
    ['shift  average', '0        370.4', '1.5         15']
    """
    most = max(map(len, rows), default=0)
    wide = list(widths) or [max(len(row[i]) for row in rows if i < len(row)) for i in range(most)]
    wide += wide[-1:] * (most - len(wide))
    form = [f"{{:{side}{width}}}" for side, width in zip(sides.ljust(most, sides[-1]), wide, strict=False)]
    return [(indent + gap.join(form[: len(row)]).format(*row)).rstrip() for row in rows]


def figures(rows: Sequence[Row], sides: str = "<>") -> list[str]:
    """Set a name, figures and an ending in columns that stand alike in every table of an answer."""
    return table(rows, sides, widths=(14, 11), indent="", gap="")


def block(title: str, sentences: Sequence[str]) -> list[str]:
    """Set sentences as a list under a title; nothing when there are none."""
    return ["", f"{title}:", *[f"- {sentence}" for sentence in sentences]] if sentences else []


def notes(warnings: Sequence[str]) -> list[str]:
    """One line for each warning, after an empty one."""
    return ["", *(f"Note: {warning}." for warning in warnings)] if warnings else []
