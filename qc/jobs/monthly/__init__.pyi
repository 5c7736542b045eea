"""Types of what `qc.jobs.monthly` offers; the package fetches each name on first use."""

from .gathering import month_content as month_content
from .writing import MonthReport as MonthReport
from .writing import month as month
