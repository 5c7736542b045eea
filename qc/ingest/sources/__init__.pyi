"""Types of what `qc.ingest.sources` offers; the package fetches each name on first use."""

from .unfolding import Unfolded as Unfolded
from .unfolding import date_question as date_question
from .unfolding import unfold as unfold
