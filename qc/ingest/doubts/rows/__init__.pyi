from .copied_run import find_copied_run
from .differs_from_recorded import find_differs_from_recorded
from .doubled_row import find_doubled_row

__all__ = [
    "find_copied_run",
    "find_differs_from_recorded",
    "find_doubled_row",
]
