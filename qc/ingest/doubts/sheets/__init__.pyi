from .day_month_date import find_day_month_date
from .epoch_1904 import find_epoch_1904
from .spreadsheet_date import find_spreadsheet_date

__all__ = [
    "find_day_month_date",
    "find_epoch_1904",
    "find_spreadsheet_date",
]
