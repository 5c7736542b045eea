"""Held rows: what waits and why, and what became of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any


def held_row_text(
    number: int, serial: str, typed: str, reasons: Sequence[tuple[str, str]], proposal: Mapping[str, Any]
) -> str:
    """Say where a row stands, why it is held (sentence and mend), and what would put it right."""
    lines = [f"{number}  {serial or '(no serial)'}  typed '{typed}'"]
    lines += [f"     {sentence} {mend}" for sentence, mend in reasons]
    if proposal:
        said = ", ".join(f"{name} = {value}" for name, value in proposal.items())
        lines.append(f"     Proposed: {said}   (qc held mend {number} --accept)")
    return "\n".join(lines)


def held_text(runs: Sequence[tuple[str, Sequence[int]]]) -> str:
    """List held rows: of those held alike the first in words, and the numbers of all."""
    number = sum(len(numbers) for _, numbers in runs)
    if not number:
        return "Nothing is held."
    lines = [f"{number} row{'s are' if number != 1 else ' is'} held."]
    for first, (_, *others) in runs:
        lines.append(first)
        if others:
            numbers = f"{others[0]}-{others[-1]}" if len(others) > 1 else str(others[0])
            lines.append(f"     So {'are' if len(others) > 1 else 'is'} {len(others)} more: {numbers}")
    return "\n".join(lines)


def mended_text(sentence: str, reasons: Sequence[str]) -> str:
    """Say what became of a row, and why where it is still held."""
    return "\n".join([sentence, *(f"  {reason}" for reason in reasons)])


def exported_text(rows: int, file: Path) -> str:
    """Say what was written for the person who typed the rows."""
    return f"{rows} held rows written to {file}."
