"""Types of what `qc.ingest.doubts` offers; the package fetches each name on first use."""

from .asking import find_doubts as find_doubts
from .facts import Facts as Facts
from .facts import gather_facts as gather_facts
