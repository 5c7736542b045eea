"""Types of what `qc.jobs.losses` offers; the package fetches each name on first use."""

from .hours import ReworkReport as ReworkReport
from .hours import rework as rework
from .yields import yields_of as yields_of
