"""Names for what stays open, since no one type fits all its keys; a leaf that every floor may use.

What is a record has a class of its own. Most are for the edges, where JSON, the row of a frame or a caller's
arguments come in or go out.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, TypeAlias

JsonObject: TypeAlias = dict[str, Any]
"""Plain values by name, ready for JSON: what `to_dict` gives, a kept state, the contract of ``--json``."""

FrameRow: TypeAlias = dict[str, Any]
"""One row of a frame as polars gives it: column -> value of the column's type, None where it is empty."""

Arguments: TypeAlias = dict[str, Any]
"""Arguments by name, on their way to the function whose signature types them."""

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A csv cell that begins so is run as a formula by spreadsheets (the full-width signs too, by some)."""

AT_ONCE = 10_000
"""Items of a list that are written in one go; chosen: a megabyte, and no slower than all at once."""


def json_parts(value: object) -> Iterator[str]:
    """Write a value as strict JSON, part by part: together the text that `json.dumps` gives at once.

    Of ten million figures the encoder would hold a text each until all are joined, gigabytes; here it holds
    those of one part.

    Examples
    --------
    >>> "".join(json_parts({"n": 2, "values": [1.5, None]}))
    '{"n": 2, "values": [1.5, null]}'
    """
    if isinstance(value, dict) and all(isinstance(name, str) for name in value):
        yield "{"
        for number, (name, own) in enumerate(value.items()):
            yield f"{', ' if number else ''}{_json(name)}: "
            yield from json_parts(own) if isinstance(own, dict | list | tuple) else (_json(own),)
        yield "}"
    elif isinstance(value, list | tuple) and len(value) > AT_ONCE:
        yield "["
        for start in range(0, len(value), AT_ONCE):
            yield f"{', ' if start else ''}{_json(value[start : start + AT_ONCE])[1:-1]}"
        yield "]"
    else:
        yield _json(value)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False, default=str)
