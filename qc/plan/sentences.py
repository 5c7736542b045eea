"""Faults found by the model, said in plain sentences with a mend and a guess at what was meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel

from qc.plan import model
from qc.plan.errors import PlanFault
from qc.plan.tree import WHOLE, Node
from qc.words import closest, some_of

_CLASSES: dict[str, type[BaseModel]] = {
    "workshop": model.Shop,
    "models": model.Model,
    "valves": model.ModelValve,
    "stages": model.Stage,
    "characteristics": model.Characteristic,
    "limits": model.DatedLimits,
    "derive": model.Derive,
    "gauges": model.Gauge,
    "people": model.Person,
    "tools": model.Tool,
    "cards": model.Card,
}

_BOUNDS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return ``Did you mean "..."?`` for the known name nearest to a mistyped one, else an empty text.

    Examples
    --------
    >>> did_you_mean("tenro", ["alto", "tenor", "bass"])
    'Did you mean "tenor"?'
    >>> did_you_mean("xyz", ["alto", "tenor"])
    ''
    """
    near = closest(name, list(known))
    return f'Did you mean "{near}"?' if near else ""


def model_faults(errors: Iterable[Mapping[str, Any]], tree: Node) -> list[PlanFault]:
    """Translate the model's errors into faults, one for each place of the file.

    Parameters
    ----------
    errors : iterable of mapping
        What pydantic's ``ValidationError.errors()`` lists.
    tree : Node
        The tree the model was filled from.

    Returns
    -------
    list of PlanFault
        In the order of the errors. A value that fits none of several allowed forms gives one fault.
    """
    by_place: dict[tuple[str | int, ...], list[Mapping[str, Any]]] = {}
    for error in errors:
        by_place.setdefault(real_path(error["loc"], tree, error["type"]), []).append(error)
    _forgive_mistyped(by_place)
    told = [path for path in by_place if (node := tree.get(*path)) is not None and node.unmet]
    return [_fault(path, alike, tree) for path, alike in by_place.items() if path not in told]


def real_path(loc: tuple[str | int, ...], tree: Node, kind: str) -> tuple[str | int, ...]:
    """Return the part of an error's place that is in the file (unions add names of their own)."""
    path: list[str | int] = []
    for step in loc:
        if tree.get(*path, step) is None:
            if kind == "missing" and step == loc[-1]:
                path.append(step)
            break
        path.append(step)
    return tuple(path)


def _forgive_mistyped(by_place: dict[tuple[str | int, ...], list[Mapping[str, Any]]]) -> None:
    """Take out "is missing" where the field is there under a mistyped name, which is a fault of its own."""
    unknown: dict[tuple[str | int, ...], list[str]] = {}
    for path, alike in by_place.items():
        if alike[0]["type"] == "extra_forbidden":
            unknown.setdefault(path[:-1], []).append(str(path[-1]))
    missing = [path for path, alike in by_place.items() if alike[0]["type"] == "missing"]
    for path in missing:
        if any(did_you_mean(other, [str(path[-1])]) for other in unknown.get(path[:-1], ())):
            del by_place[path]


def _fault(path: tuple[str | int, ...], errors: list[Mapping[str, Any]], tree: Node) -> PlanFault:
    node = tree.nearest(*path)
    error = errors[0]
    kind = str(error["type"])
    if kind == "missing" and len(errors) == 1:
        above = node.path or WHOLE
        name = str(path[-1])
        if isinstance(path[-1], int):
            return PlanFault(node.line, above, "has too few numbers", "Write two: [lowest, highest].")
        field = f"{node.path}.{name}" if node.path else name
        return PlanFault(node.line, field, "is missing", f"Add a line `{name}: ...` here.")
    problem, mend = _sentence(kind, path, errors, node)
    return PlanFault(node.line, node.path or WHOLE, problem, mend)


def _sentence(
    kind: str, path: tuple[str | int, ...], errors: list[Mapping[str, Any]], node: Node
) -> tuple[str, str]:
    """Say a fault of the model in words; the order matters, the narrower reason first."""
    given = _shown(node.value)
    context: Mapping[str, Any] = errors[0].get("ctx") or {}
    if kind == "extra_forbidden":
        return _unknown_field(path)
    if node.value is None:
        return "is left empty", "Give it a value, or take the line out."
    if len(errors) > 1 and any(e["type"] == "literal_error" for e in errors):
        allowed = next(str(e["ctx"]["expected"]) for e in errors if e["type"] == "literal_error")
        return f"{given} is not understood", f"Write one of {allowed}, or a day such as 2026-12-24."
    if kind == "literal_error":
        allowed = str(context["expected"])
        guess = did_you_mean(str(node.value), re.findall(r"'([^']*)'", allowed))
        return f"{given} is not one of the words allowed here", _join(guess, f"Write {allowed}.")
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return f"{given} is out of range", f"The number must be {words} {context[name]:g}."
    if kind == "string_pattern_mismatch":
        mend = "Use letters, digits, `.`, `_` and `-` only, beginning with a letter or digit, no blanks."
        return f"{given} cannot be an id", mend
    if kind == "string_too_long":
        return f"{given} is too long", f"Use at most {context['max_length']} characters."
    if kind == "too_long":
        return "has too many numbers", "Write two: [lowest, highest]."
    if kind == "value_error":
        return str(context["error"]), "Write year-month-day, for example 2026-05-14."
    return _wrong_form(kind, given, node)


def _wrong_form(kind: str, given: str, node: Node) -> tuple[str, str]:
    """Say what was wanted in place of a text that is no number, day or list, by the likeliest slip."""
    text = node.value if isinstance(node.value, str) else ""
    if kind == "finite_number" or text.strip().strip("+-.").casefold() in {"inf", "nan"}:
        return f"{given} is not a number one can measure", "Write an ordinary number, or take the line out."
    if kind.startswith(("float", "decimal")):
        if re.fullmatch(r"\s*-?\d+,\d+\s*", text):
            return f"{given} has a decimal comma", f"Write {text.strip().replace(',', '.')}."
        if re.match(r"\s*-?\d[\d.]*\s*\D+$", text):
            return f"{given} holds more than the number", "Write the number alone; its unit is fixed."
        return f"{given} is not a number", "Write a number with a decimal point."
    if kind.startswith("int"):
        return f"{given} is not a whole number", "Write a whole number."
    if kind.startswith("bool"):
        return f"{given} is neither yes nor no", "Write true or false."
    if kind.startswith("date"):
        return f"{given} is not a day", "Write year-month-day, for example 2026-05-14."
    if kind.startswith("tuple"):
        mend = f"Write [{text}]." if text and "\n" not in text else "Begin each entry with `- `."
        return "must be a list", mend
    if kind.startswith("string"):
        return "must be one piece of text", "Write it on the same line, after the colon."
    if kind.startswith(("model", "dict", "dataclass")):
        return "must be made of named fields", "Write `name: value` lines below it, indented by two spaces."
    return f"{given} is not understood", "Compare it with the reference page of the plan."


def _unknown_field(path: tuple[str | int, ...]) -> tuple[str, str]:
    names = [step for step in path if isinstance(step, str)]
    above = next((name for name in reversed(names[:-1]) if name in _CLASSES), "")
    known = list((_CLASSES[above] if above else model.Plan).model_fields)
    guess = did_you_mean(names[-1], known)
    return f'there is no field "{names[-1]}" here', guess or f"Known fields: {some_of(known, most=30)}."


def _shown(value: object) -> str:
    if isinstance(value, str):
        return f'"{value[:60]}{"..." if len(value) > 60 else ""}"'
    return (
        "a list" if isinstance(value, list) else "a block of fields" if isinstance(value, dict) else "nothing"
    )


def _join(*parts: str) -> str:
    return " ".join(part for part in parts if part)
