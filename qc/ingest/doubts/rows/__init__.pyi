"""Types of what `qc.ingest.doubts.rows` offers; the package fetches each name on first use."""

from .copied_run import find_copied_run as find_copied_run
from .differs_from_recorded import find_differs_from_recorded as find_differs_from_recorded
from .doubled_row import find_doubled_row as find_doubled_row
from .other_gauge import find_other_gauge as find_other_gauge
from .same_card import find_same_card as find_same_card
