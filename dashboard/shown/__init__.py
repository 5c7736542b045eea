"""What every page shows of a series alike: how many of its pieces, as chart and table, and as files."""

from dashboard.shown.span import BEFORE, WINDOW, pieces_fold, pieces_table, span_tools, taking_along, window
from dashboard.shown.stood import as_it_stood, stood_words

__all__ = [
    "BEFORE",
    "WINDOW",
    "as_it_stood",
    "pieces_fold",
    "pieces_table",
    "span_tools",
    "stood_words",
    "taking_along",
    "window",
]
