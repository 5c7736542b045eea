"""Types of what `qc.store.corrected` offers; the package fetches each name on first use."""

from .verbs import CorrectedStore as CorrectedStore
