"""Types of what `qc.ingest.reading` offers; the package fetches each name on first use."""

from .delimited import CONTROL as CONTROL
from .delimited import BrokenRowError as BrokenRowError
from .delimited import separator_of as separator_of
from .delimited import split_rows as split_rows
from .encodings import likely_encoding as likely_encoding
from .files import read_file as read_file
from .grid import MAX_BYTES as MAX_BYTES
from .grid import MAX_CELLS as MAX_CELLS
from .grid import MAX_COLUMNS as MAX_COLUMNS
from .grid import Grid as Grid
from .grid import column_letters as column_letters
from .grids import source_grids as source_grids
from .manner import Manner as Manner
from .manner import check_file as check_file
from .pieces import Asked as Asked
from .pieces import Narrow as Narrow
from .reader import SheetReader as SheetReader
from .reader import batch_reader as batch_reader
from .reader import keep_reader as keep_reader
from .sheets import read_sheet as read_sheet
from .tables import Table as Table
from .tables import TableSource as TableSource
from .tables import read_table as read_table
from .workbooks import exact_text as exact_text
