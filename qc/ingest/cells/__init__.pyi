"""Types of what `qc.ingest.cells` offers; the package fetches each name on first use."""

from .dates import BARE as BARE
from .dates import SERIAL as SERIAL
from .dates import SPREADSHEET_FIRST as SPREADSHEET_FIRST
from .dates import SPREADSHEET_LAST as SPREADSHEET_LAST
from .dates import is_written_day as is_written_day
from .dates import nearest_year as nearest_year
from .dates import possible_days as possible_days
from .dates import read_moment as read_moment
from .dates import spreadsheet_day as spreadsheet_day
from .marks import is_blank_mark as is_blank_mark
from .marks import is_ditto as is_ditto
from .marks import is_serial_range as is_serial_range
from .marks import read_tally as read_tally
from .names import FACTORS as FACTORS
from .names import UNITS as UNITS
from .names import Heading as Heading
from .names import heading as heading
from .names import known_field as known_field
from .names import plain as plain
from .names import split_unit as split_unit
from .numbers import COMMA_NOTE as COMMA_NOTE
from .numbers import read_decimal as read_decimal
from .numbers import read_number as read_number
from .numbers import read_whole as read_whole
