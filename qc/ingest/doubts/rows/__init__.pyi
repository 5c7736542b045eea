"""Types of what `qc.ingest.doubts.rows` offers; the package fetches each name on first use."""

from .copied_run import find_copied_run as find_copied_run
from .differs_from_recorded import find_differs_from_recorded as find_differs_from_recorded
from .doubled_row import find_doubled_row as find_doubled_row
