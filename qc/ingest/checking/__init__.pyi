from .checked import Checked, check
from .expect import warm_up
from .mend import MendedRow, MendError, mend_row, recheck

__all__ = [
    "Checked",
    "MendError",
    "MendedRow",
    "check",
    "mend_row",
    "recheck",
    "warm_up",
]
