"""Pure ingest: bytes and plan in; readings, events and held rows out.

``read_sheet`` turns bytes into grids of text, ``unfold`` a grid into rows, ``check`` rows into accepted and
held ones; ``mend_row`` and ``recheck`` bring a held row through the same door again.

Names are fetched on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.ingest.checking import Checked, check
    from qc.ingest.errors import SheetError
    from qc.ingest.expect import warm_up
    from qc.ingest.frames import polars_schema
    from qc.ingest.grid import MAX_BYTES, Grid
    from qc.ingest.known import GaugeCheck, Known, Recorded, Usual, identity, known_from, usual_figures
    from qc.ingest.mend import MendedRow, MendError, mend_row, recheck
    from qc.ingest.read import read_sheet
    from qc.ingest.reasons import DOUBTS, Finding, Mark, Reason
    from qc.ingest.unfolding import Unfolded, unfold

_HOME = {
    "Checked": "checking",
    "DOUBTS": "reasons",
    "Finding": "reasons",
    "GaugeCheck": "known",
    "Grid": "grid",
    "Known": "known",
    "MAX_BYTES": "grid",
    "Mark": "reasons",
    "MendError": "mend",
    "MendedRow": "mend",
    "Reason": "reasons",
    "Recorded": "known",
    "SheetError": "errors",
    "Unfolded": "unfolding",
    "Usual": "known",
    "check": "checking",
    "identity": "known",
    "known_from": "known",
    "mend_row": "mend",
    "polars_schema": "frames",
    "read_sheet": "read",
    "recheck": "mend",
    "unfold": "unfolding",
    "usual_figures": "known",
    "warm_up": "expect",
}

__all__ = [
    "DOUBTS",
    "MAX_BYTES",
    "Checked",
    "Finding",
    "GaugeCheck",
    "Grid",
    "Known",
    "Mark",
    "MendError",
    "MendedRow",
    "Reason",
    "Recorded",
    "SheetError",
    "Unfolded",
    "Usual",
    "check",
    "identity",
    "known_from",
    "mend_row",
    "polars_schema",
    "read_sheet",
    "recheck",
    "unfold",
    "usual_figures",
    "warm_up",
]


def __getattr__(name: str) -> object:
    """Fetch a public name from its module the first time it is asked for."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = value
    return value
