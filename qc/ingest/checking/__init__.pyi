"""Types of what `qc.ingest.checking` offers; the package fetches each name on first use."""

from .checked import Checked as Checked
from .checked import check as check
from .expect import warm_up as warm_up
from .mend import MendedRow as MendedRow
from .mend import MendError as MendError
from .mend import mend_recorded as mend_recorded
from .mend import mend_row as mend_row
from .mend import recheck as recheck
from .same_serials import other_writings as other_writings
from .same_serials import written_alike as written_alike
