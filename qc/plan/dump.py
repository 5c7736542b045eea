"""Writing a plan as commented ``plan.yaml`` text that loads back as the same plan."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

import yaml
from pydantic import BaseModel

from qc.plan.model import Plan

_SECTIONS: dict[str, str] = {
    "workshop": "The shop itself; these hold where a card says nothing else.",
    "models": "Instrument types. Models of one family are charted together, as deviations from target.",
    "stages": "The steps of making, in the order of the route, and what is measured at each.",
    "gauges": "What measures. After its day `due`, readings of a gauge are held.",
    "people": "Codes that stand on cards; the names stay in this file.",
    "tools": "What makes, not what measures: dies, mandrels, booths.",
    "cards": "The kinds of sheet the benches hand in; source: slide, tuning, lacquer, or bench for all else.",
    "causes": "Causes to choose from when rework, a return or a signal is closed.",
}

_HINTS: dict[str, str] = {
    "a4_hz": "reference pitch [Hz]",
    "reference_temperature_c": "[C]",
    "false_signals_per_month": "how often the whole board may cry wolf",
    "wanted_ppk": "from here on a process counts as capable",
    "pairing_cost": "what pairing from the rack makes least",
    "hourly_rate": "what an hour of rework costs",
    "today": "fixes the day to judge by; only for a sample",
    "lead": "code of the quality lead",
    "pedal_midi": "note number of the nominal fundamental, A4 = 69",
    "length_mm": "speed of sound / (2 x nominal fundamental), slide in [mm]",
    "added_mm": "length added when pressed [mm]",
    "depends_on": "works only on top of this valve",
    "area_factor": "lacquered area relative to a tenor",
    "at": "only at these places",
    "since": "holds from this day on",
    "decides": "what of a piece has to keep the limits: every place, the mean, or the house 80-20 rule",
    "near_limit": "held: also a figure inside by less than the gauge's own spread",
    "spread": "standard deviation of one reading, from a gauge study",
    "pool": "family, model, or all: who shares a chart",
    "charted": "false: recorded, but no chart of its own",
    "derive": "computed from other readings of the piece",
    "gauge_class": "",
    "resolution": "smallest step of the gauge, in its unit",
    "reading_seconds": "bench time of one reading [s]",
    "wears_with": "class of tool whose count of draws moves this figure",
    "sensible": "outside this range a figure is a typing mistake",
    "due": "the day the calibration runs out",
    "check_tolerance": "largest deviation from the master that passes",
    "expected": "daily: a missing card is asked for",
}
"""A remark on the first line that holds the field."""

_WIDTH = 96  # a short entry goes on one line; chosen: it fits most editors with the indent
_FLOW = frozenset({"valves", "limits", "gauges", "people", "tools", "cards"})


def dump_plan(plan: Plan) -> str:
    """Return a plan as commented YAML text.

    Parameters
    ----------
    plan : Plan
        Any plan that loads.

    Returns
    -------
    str
        Text from which `load_plan` gives an equal plan. Fields at their default are left out.

    Examples
    --------
    >>> from qc.plan import load_plan, template_text
    >>> plan = load_plan(template_text())
    >>> load_plan(dump_plan(plan)) == plan
    True
    """
    lines = ["# The measuring plan. `qc plan check` names every mistake in it with its line.", ""]
    said: set[str] = set()
    for name, comment in _SECTIONS.items():
        value = getattr(plan, name)
        if value or name in {"models", "stages"}:
            lines += [f"# {comment}", *_field(name, value, 0, said), ""]
    return "\n".join(lines)


def _fields(part: BaseModel) -> Iterator[tuple[str, Any]]:
    """Yield the fields that must be written: required ones and those that differ from their default."""
    for name, info in type(part).model_fields.items():
        value = getattr(part, name)
        default = info.get_default(call_default_factory=True)
        if info.is_required() or value != default:
            yield name, value


def _field(name: str, value: Any, level: int, said: set[str]) -> list[str]:
    """Write one field: a block, a list entry by entry, or one line; its remark only where it stands first."""
    indent = "  " * level
    hint = _HINTS.get(name, "")
    remark = f"  # {hint}" if hint and name not in said else ""
    said.add(name)
    # `derive` has a word or two and reads better on one line
    if isinstance(value, BaseModel) and name != "derive":
        return [f"{indent}{name}:{remark}", *_block(value, level + 1, said)]
    if isinstance(value, tuple) and any(isinstance(item, BaseModel) for item in value):
        lines = [f"{indent}{name}:{remark}"]
        for item in value:
            lines += _entry(name, item, level + 1, said)
        return lines
    if isinstance(value, tuple) and len(_flow(value)) > _WIDTH:
        return [f"{indent}{name}:{remark}", *(f"{indent}  - {_flow(item)}" for item in value)]
    return [f"{indent}{name}: {_flow(value)}{remark}"]


def _block(part: BaseModel, level: int, said: set[str]) -> list[str]:
    return [line for name, value in _fields(part) for line in _field(name, value, level, said)]


def _entry(section: str, part: BaseModel, level: int, said: set[str]) -> list[str]:
    """Return one entry of a list: on one line where it is short, else a field a line."""
    indent = "  " * level
    flow = _flow(part)
    if section in _FLOW and len(flow) <= _WIDTH:
        return [f"{indent}- {flow}"]
    lines = _block(part, level + 1, said)
    if not lines:
        return [f"{indent}- {{}}"]
    return [f"{indent}- {lines[0].lstrip()}", *lines[1:]]


def _flow(value: Any) -> str:
    """Return a value on one line."""
    if isinstance(value, BaseModel):
        return "{" + ", ".join(f"{name}: {_flow(item)}" for name, item in _fields(value)) + "}"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_flow(key)}: {_flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, tuple):
        return "[" + ", ".join(_flow(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, date):
        return value.isoformat()
    return _text(str(value))


def _text(value: str) -> str:
    """Return a text, in quotes where the bare words would be read as something else."""
    if value.isdecimal():  # text for `load_plan` all the same
        return value
    style = yaml.safe_dump([value], default_flow_style=True, allow_unicode=True, width=10**9)
    return style[1 : style.rindex("]")]
