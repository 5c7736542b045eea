"""Types of what `qc.jobs.monthly` offers; the package fetches each name on first use."""

from .closing import close_month as close_month
from .gathering import month_content as month_content
from .stored import put_files as put_files
from .writing import MonthReport as MonthReport
from .writing import month as month
