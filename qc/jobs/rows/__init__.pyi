"""Types of what `qc.jobs.rows` offers; the package fetches each name on first use."""

from .settling import Decision as Decision
from .settling import Mended as Mended
from .settling import MendedRows as MendedRows
from .settling import mend_held as mend_held
from .settling import mend_rows as mend_rows
from .settling import settle_rows as settle_rows
from .waiting import DOUBT_NAMES as DOUBT_NAMES
from .waiting import Exported as Exported
from .waiting import HeldList as HeldList
from .waiting import HeldRow as HeldRow
from .waiting import export_held as export_held
from .waiting import list_held as list_held
