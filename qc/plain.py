"""Names for what stays open, since no one type fits all its keys; a leaf that every floor may use.

What is a record has a class of its own. Most are for the edges, where JSON, the row of a frame or a caller's
arguments come in or go out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from datetime import date, datetime
from functools import cache, wraps
from numbers import Integral, Number, Real
from pathlib import Path
from typing import Any, ParamSpec, TypeAlias, TypeVar

from qc.errors import UsageError

P = ParamSpec("P")
R = TypeVar("R")

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


def as_meant(function: Callable[P, R]) -> Callable[P, R]:
    """Let a function of the public face take its arguments as notebooks hold them.

    By what its signature states: a path may be text, a day text (2026-05-14), a moment or a day of pandas or
    numpy, and a number any that Python knows (numpy's, `Decimal`, `Fraction`). Inside all is as stated, so an
    answer's JSON holds plain numbers whatever was asked with.

    Raises
    ------
    UsageError
        By the function returned: text that is no day, or text where a number is needed.

    Examples
    --------
    >>> from decimal import Decimal
    >>> @as_meant
    ... def twice(size: float, out: Path | None = None) -> float:
    ...     return 2.0 * size
    >>> twice(Decimal("1.5"))
    3.0
    """

    @cache
    def stated() -> tuple[tuple[str, ...], dict[str, Callable[[str, Any], Any]]]:
        from inspect import signature  # 10 ms, and only the first call needs it

        parameters = signature(function).parameters.values()
        return tuple(one.name for one in parameters), {
            one.name: making
            for one in parameters
            if one.kind is not one.VAR_KEYWORD and (making := _making(str(one.annotation)))
        }

    @wraps(function)
    def taking(*args: P.args, **kwargs: P.kwargs) -> R:
        names, makings = stated()
        plain: list[Any] = list(args)
        for place, (name, value) in enumerate(zip(names, args, strict=False)):
            if name in makings:
                plain[place] = makings[name](name, value)
        named: Arguments = {
            name: makings[name](name, value) if name in makings else value for name, value in kwargs.items()
        }
        return function(*plain, **named)

    return taking


def _making(annotation: str) -> Callable[[str, Any], Any] | None:
    """Say what makes an argument as its annotation, a text, states it."""
    words = set(re.findall(r"\w+", annotation)) - {"None"}
    if words == {"Path"}:
        return lambda _, value: Path(value) if isinstance(value, str) else value
    if words == {"date"}:
        return _as_day
    return as_number if words and words <= {"float", "int", "tuple"} else None


def as_number(name: str, value: Any) -> Any:
    """Make a number, or a tuple of some, Python's own; what is none stays as it is, but text is refused.

    Examples
    --------
    >>> from fractions import Fraction
    >>> as_number("lower", Fraction(1, 2)), as_number("lower", None)
    (0.5, None)
    """
    if type(value) in (int, float, bool):
        return value
    if isinstance(value, tuple):
        return tuple(as_number(name, one) for one in value)
    if isinstance(value, str):
        raise UsageError(f"{name} is {value!r}: a number is needed")
    if isinstance(value, Integral):
        return int(value)
    return float(value) if isinstance(value, Real) or _is_decimal(value) else value


def _is_decimal(value: object) -> bool:
    return isinstance(value, Number) and not isinstance(value, complex)


def _as_day(name: str, value: Any) -> Any:
    """Make a day of text, of a moment, or of what pandas and numpy hold."""
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, str) or type(value).__name__ == "datetime64":
        try:
            return date.fromisoformat(str(value)[:10] if not isinstance(value, str) else value.strip())
        except ValueError:
            raise UsageError(f"{name} {str(value)!r} is not a day. Write it as YYYY-MM-DD.") from None
    return value
