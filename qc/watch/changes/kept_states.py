"""How far a series has been judged: plain values to be kept between two judgings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.plain import JsonObject
from qc.stats import KeptState

WHOLE, SETTLED = "series", "settled state"
"""What a state was kept of: the whole series, or what comes after a frozen settled state."""

KeptStates = Mapping[str, KeptState]


def plain_kept_states(kept: KeptStates) -> JsonObject:
    """Return plain values, ready for JSON."""
    return {name: course.to_dict() for name, course in kept.items()}


def kept_states_from(record: Mapping[str, Any] | None) -> dict[str, KeptState]:
    """Undo `plain_kept_states`; None, where nothing was kept, gives none."""
    return {name: KeptState.from_dict(own) for name, own in (record or {}).items()}
