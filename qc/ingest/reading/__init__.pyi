"""Types of what `qc.ingest.reading` offers; the package fetches each name on first use."""

from .grid import MAX_BYTES as MAX_BYTES
from .grid import Grid as Grid
from .sheets import read_sheet as read_sheet
