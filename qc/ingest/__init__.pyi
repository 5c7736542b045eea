"""Types of what `qc.ingest` offers; the package fetches each name on first use."""

from .checking import Checked as Checked
from .checking import MendedRow as MendedRow
from .checking import MendError as MendError
from .checking import check as check
from .checking import mend_row as mend_row
from .checking import recheck as recheck
from .checking import warm_up as warm_up
from .errors import SheetError as SheetError
from .known import GaugeCheck as GaugeCheck
from .known import Known as Known
from .known import Recorded as Recorded
from .known import Usual as Usual
from .known import identity as identity
from .known import known_from as known_from
from .known import usual_figures as usual_figures
from .reading import MAX_BYTES as MAX_BYTES
from .reading import Grid as Grid
from .reading import read_sheet as read_sheet
from .reasons import DOUBTS as DOUBTS
from .reasons import Finding as Finding
from .reasons import Reason as Reason
from .reasons import SheetMark as SheetMark
from .sources import Unfolded as Unfolded
from .sources import unfold as unfold
