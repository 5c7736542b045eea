"""Types of what `qc.stats.wear` offers; the package fetches each name on first use."""

from .breaks import WearBreak as WearBreak
from .breaks import wear_break as wear_break
from .line import recursive_residuals as recursive_residuals
from .settled_line import detect_settled_line as detect_settled_line
from .tools import ToolFinding as ToolFinding
from .tools import detect_wear as detect_wear
