"""Pure ingest: bytes and plan in, readings, events and held rows out.

Names are fetched on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.ingest.errors import SheetError
    from qc.ingest.grid import Grid
    from qc.ingest.read import read_sheet
    from qc.ingest.unfold import Unfolded, unfold

_HOME = {
    "Grid": "grid",
    "SheetError": "errors",
    "Unfolded": "unfold",
    "read_sheet": "read",
    "unfold": "unfold",
}

__all__ = ["Grid", "SheetError", "Unfolded", "read_sheet", "unfold"]


def __getattr__(name: str) -> object:
    """Fetch a public name from its module the first time it is asked for."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
