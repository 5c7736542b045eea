"""What became of sheets and rows that were handed in: the receipt of an upload, held rows, their mends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from qc.report.terminal.columns import table
from qc.words import count_words

SheetLine = tuple[str, int, int, int, int, Mapping[str, int], int]
"""File, rows, accepted, held, already known, how often each reason was met, how many were held already."""

FEW_SHEETS = 12
"""From so many on, a sheet without rows is not told by itself."""


def receipt_text(
    sheets: Sequence[SheetLine],
    raised: Sequence[str],
    late: Sequence[str] = (),
    read_with: Sequence[Sequence[str]] = (),
    missing: Sequence[Sequence[str]] = (),
    accepted: str = "",
    hold: str = "",
    left: Sequence[tuple[str, str]] = (),
    waiting: Sequence[str] = (),
) -> str:
    """Say what became of each sheet, what was raised, and what sheets from before had brought unjudged.

    `read_with` says of each sheet how it was read, where that was not by the plan alone; `missing`, where
    sheets are few, what its card still lacks; `accepted` where readings stand that no series takes; `hold`
    which of their pieces are to be held, in short; `left` which left by these sheets although something holds
    them, or had left when these showed them outside a limit, and what to do about each; `waiting` which
    refused sheets are kept until their layout is shown.
    """
    lines: list[str] = []
    for number, sheet in enumerate(sheets):
        if sheet[1] or len(sheets) < FEW_SHEETS:
            lines.append(_sheet_line(sheet))
            lines += [f"   {said}" for said in (read_with[number] if read_with else ())]
        if len(sheets) < FEW_SHEETS and number < len(missing):
            lines += [f"   {said}" for said in missing[number]]
    if len(sheets) > 1:
        counts = [sheet[1:5] for sheet in sheets]
        lines.append(total_text(len(sheets), *map(sum, zip(*counts, strict=True))))
    lines += [accepted] if accepted else []
    lines += [f"▲ {sentence}" for sentence in raised]
    if late:
        lines.append("From sheets handed in before, judged now:")
        lines += [f"▲ {sentence}" for sentence in late]
    for said, step in left:
        lines += [f"▲ {said}", f"   Next: {step}"]
    lines += [hold] if hold else []
    lines += waiting
    if waiting or any(held for _, _, _, held, *_ in sheets):
        lines.append(f"See what {'waits' if waiting else 'is held'}: qc held list")
    return "\n".join(lines) or "Nothing was taken in."


def folder_text(receipt: str, folder: str, archived: int, left: Sequence[str]) -> str:
    """Say what became of the sheets in a folder: their receipt, what was moved, what was left and why."""
    lines = [receipt or f"No sheet in {folder} was taken in."]
    if archived:
        lines.append(f"{count_words(archived, 'sheet')} moved to the archive of the folder.")
    return "\n".join([*lines, *left])


def total_text(sheets: int, rows: int, accepted: int, held: int, already_known: int) -> str:
    """Say the sums over several sheets."""
    brought = f"{count_words(sheets, 'sheet')}, {count_words(rows, 'row')}"
    return f"{brought}: {accepted} accepted, {held} held, {already_known} already known."


def _sheet_line(sheet: SheetLine) -> str:
    file, rows, accepted, held, already_known, reasons, again = sheet
    said = f"{file}: {count_words(rows, 'row')}, {accepted} accepted"
    if held:
        already = " already" if again == held else f", {again} of them already" if again else ""
        why = ", ".join(f"{number} {reason}" for reason, number in reasons.items())
        said += f", {held} held{already} ({why})"
    if already_known:
        said += f", {already_known} already known"
    learned = learned_text(rows, accepted, held, already_known, again)
    return f"{said}. {learned}" if learned else f"{said}."


def learned_text(rows: int, accepted: int, held: int, already_known: int, again: int) -> str:
    """Say how much of a sheet is new, empty where all of it is."""
    if not already_known and not again:
        return ""
    new = accepted + held - again
    if not new:
        return "Nothing of this card is new."
    return f"{new} of {rows} readings of this card {'is' if new == 1 else 'are'} new."


def held_row_text(
    number: int,
    what: str,
    typed: str,
    reasons: Sequence[tuple[str, str]],
    mends: Sequence[tuple[str, str]],
) -> str:
    """Say which piece and place a row is, why it is held (sentence and mend), what would mend it and how."""
    lines = [f"{number}  {what}  typed '{typed}'"]
    lines += [f"     {sentence} {mend}" for sentence, mend in reasons]
    words = ["Proposed", *["Or"] * len(mends)]
    for word, (mend, way) in zip(words, mends, strict=False):
        lines.append(f"     {word}: {mend}   (qc held mend {number} {way} --who CODE)")
    return "\n".join(lines)


def unread_text(head: str, why: str, read: str, away: str) -> str:
    """Say of a sheet that waits for its layout why it was refused, and how it is read or put away."""
    return "\n".join([head, f"     {why}", f"     Read it: {read}", f"     Or put it away: {away}"])


def held_text(groups: Sequence[tuple[str, int, str, str]], sheets: Sequence[str] = ()) -> str:
    """List held rows: of those held alike the first in words, the numbers of all and what settles them.

    A group is the words of its first row, how many rows it has, their numbers, and the command for all.
    `sheets` are those that wait for their layout, in words.
    """
    number = sum(rows for _, rows, _, _ in groups)
    wait = f"{count_words(len(sheets), 'sheet')} {'waits' if len(sheets) == 1 else 'wait'} for a layout."
    below = ["", wait, *sheets] if sheets else []
    if not number:
        return "\n".join(["No row is held.", *below]) if sheets else "Nothing is held."
    lines = [f"{number} row{'s are' if number != 1 else ' is'} held."]
    if len(groups) < number:
        lines[0] += f" That is {count_words(len(groups), 'question')}: rows held alike stand together."
    for first, rows, numbers, command in groups:
        lines.append(first)
        if rows > 1:
            lines.append(f"     {rows} rows are held alike: {numbers}   (all at once: {command})")
    return "\n".join([*lines, *below])


def mended_text(sentence: str, reasons: Sequence[str]) -> str:
    """Say what became of a row, and why where it is still held."""
    return "\n".join([sentence, *(f"  {reason}" for reason in reasons)])


def settled_line(states: Mapping[Any, int], why: Sequence[tuple[str, int]]) -> str:
    """Say in one line what became of several rows: how many of each state, and why the rest is still held.

    `states` counts accepted, dropped and held rows, `why` the reasons of those held, by kind.

    Examples
    --------
    >>> settled_line({"accepted": 9, "held": 3}, [("decimal slip", 2), ("unknown person", 1)])
    '9 of 12 rows are accepted. 3 are still held: decimal slip (2), unknown person (1).'
    >>> settled_line({"dropped": 8}, [])
    '8 rows are set aside; they stay on record as typed.'
    """
    rows, held = sum(states.values()), states.get("held", 0)
    kinds = ", ".join(f"{kind} ({number})" for kind, number in why)
    if held == rows:
        return f"None of the {rows} rows is accepted; all are still held: {kinds}."
    done = f"{rows - held} of {rows} rows" if held else count_words(rows, "row")
    be = "is" if rows - held == 1 else "are"
    if states.get("dropped"):
        return f"{done} {be} set aside; they stay on record as typed."
    left = f" {held} {'is' if held == 1 else 'are'} still held: {kinds}." if held else ""
    return f"{done} {be} accepted.{left}"


def readings_text(serial: str, rows: Sequence[tuple[str, ...]]) -> str:
    """List the readings of a piece by number: day, figure, what it says, who, and what became of it."""
    if not rows:
        return f"No reading of {serial} is on record."
    head = ("reading", "day", "figure", "says", "by", "")
    way = "Put one right: qc correct READING --set value=VALUE --who CODE --why REASON (or --withdraw)"
    return "\n".join(
        [f"{serial}: {count_words(len(rows), 'reading')}.", *table([head, *rows], ">" + "<"), way]
    )


def correction_text(
    sentence: str,
    series: Sequence[tuple[str, tuple[str, str], Sequence[str], Sequence[str]]],
    hold: Sequence[str] = (),
) -> str:
    """Say what became of a reading, and for each series judged anew what is told otherwise.

    A series is its title, its behaviour before and now, the signals told no more and those told newly. `hold`
    says what is outside a limit now.
    """
    lines = [sentence]
    if not series:
        lines.append("No series had to be judged anew.")
    for title, (was, now), gone, raised in series:
        told = f"{was} becomes {now}" if was and was != now else now
        same = "" if gone or raised or (was and was != now) else ", as before"
        lines.append(f"Judged anew: {title}: {told}{same}.")
        lines += [f"  no longer told: {one}" for one in gone]
        lines += [f"▲ {one}" for one in raised]
    return "\n".join([*lines, *hold])


def exported_text(rows: int, file: Path) -> str:
    """Say what was written for the person who typed the rows."""
    return f"{count_words(rows, 'held row')} written to {file}."
