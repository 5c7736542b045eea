"""Types of what `qc.ingest.freely` offers; the package fetches each name on first use."""

from .reading import read_freely as read_freely
from .reading import try_freely as try_freely
