"""Names for what stays open, since no one type fits all its keys; a leaf that every floor may use.

What is a record has a class of its own. Most are for the edges, where JSON, the row of a frame or a caller's
arguments come in or go out.
"""

from __future__ import annotations

from typing import Any, TypeAlias

JsonObject: TypeAlias = dict[str, Any]
"""Plain values by name, ready for JSON: what `to_dict` gives, a kept state, the contract of ``--json``."""

FrameRow: TypeAlias = dict[str, Any]
"""One row of a frame as polars gives it: column -> value of the column's type, None where it is empty."""

Arguments: TypeAlias = dict[str, Any]
"""Arguments by name, on their way to the function whose signature types them."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A csv cell that begins so is run as a formula by spreadsheets (the full-width signs too, by some)."""
