"""Types of what `qc.jobs.history` offers; the package fetches each name on first use."""

from .bringing_in import bring_in as bring_in
from .parts import PART_ROWS as PART_ROWS
from .receipt import HistoryReceipt as HistoryReceipt
