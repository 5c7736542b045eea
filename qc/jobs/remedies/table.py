"""Plain text tables and lists, never wrapped, so that they paste into a message as they are."""

from __future__ import annotations

from collections.abc import Sequence


def table_row(name: str, cells: Sequence[str], end: str = "") -> str:
    """Set a name, right-aligned figures and an ending in columns."""
    return f"{name:14}" + "".join(f"{cell:>11}" for cell in cells) + (f"  {end}" if end else "")


def block(title: str, sentences: tuple[str, ...]) -> list[str]:
    """Set sentences as a list under a title; nothing when there are none."""
    return ["", f"{title}:", *[f"- {sentence}" for sentence in sentences]] if sentences else []
