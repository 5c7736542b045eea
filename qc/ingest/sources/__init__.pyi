"""Types of what `qc.ingest.sources` offers; the package fetches each name on first use."""

from .tidy import TidyColumns as TidyColumns
from .tidy import tidy_columns as tidy_columns
from .tidy import tidy_figures as tidy_figures
from .tidy import tidy_said as tidy_said
from .tidy import unfold_tidy as unfold_tidy
from .unfolding import Unfolded as Unfolded
from .unfolding import date_question as date_question
from .unfolding import unfold as unfold
