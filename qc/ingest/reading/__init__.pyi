from .grid import MAX_BYTES, Grid
from .sheets import read_sheet

__all__ = [
    "Grid",
    "MAX_BYTES",
    "read_sheet",
]
