"""Types of what `qc.ingest.sources` offers; the package fetches each name on first use."""

from .proposed import POINTED as POINTED
from .proposed import PointedLine as PointedLine
from .proposed import Pointing as Pointing
from .proposed import choices_of as choices_of
from .proposed import head_cells as head_cells
from .proposed import layout_of_pointing as layout_of_pointing
from .proposed import propose_pointing as propose_pointing
from .tidy import TidyColumns as TidyColumns
from .tidy import tidy_columns as tidy_columns
from .tidy import tidy_figures as tidy_figures
from .tidy import tidy_said as tidy_said
from .tidy import unfold_tidy as unfold_tidy
from .unfolding import Unfolded as Unfolded
from .unfolding import date_question as date_question
from .unfolding import unfold as unfold
