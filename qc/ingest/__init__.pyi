from .checking import Checked, MendedRow, MendError, check, mend_row, recheck, warm_up
from .errors import SheetError
from .frames import polars_schema
from .known import GaugeCheck, Known, Recorded, Usual, identity, known_from, usual_figures
from .reading import MAX_BYTES, Grid, read_sheet
from .reasons import DOUBTS, Finding, Mark, Reason
from .sources import Unfolded, unfold

__all__ = [
    "Checked",
    "DOUBTS",
    "Finding",
    "GaugeCheck",
    "Grid",
    "Known",
    "MAX_BYTES",
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
