"""Types of what `qc.ingest.doubts.sheets` offers; the package fetches each name on first use."""

from .day_month_date import find_day_month_date as find_day_month_date
from .epoch_1904 import find_epoch_1904 as find_epoch_1904
from .spreadsheet_date import find_spreadsheet_date as find_spreadsheet_date
from .wrong_day import find_wrong_day as find_wrong_day
