"""What every page shows of a series alike: how many of its pieces, as chart and table, and as files."""

from dashboard.shown.span import BEFORE, WINDOW, pieces_fold, pieces_table, span_tools, taking_along, window

__all__ = ["BEFORE", "WINDOW", "pieces_fold", "pieces_table", "span_tools", "taking_along", "window"]
