"""Types of what `qc.store.corrected` offers; the package fetches each name on first use."""

from .history import CORRECTED as CORRECTED
from .history import TAKEN_BACK as TAKEN_BACK
from .settled import Settlement as Settlement
from .verbs import CorrectedStore as CorrectedStore
