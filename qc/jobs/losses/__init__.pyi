"""Types of what `qc.jobs.losses` offers; the package fetches each name on first use."""

from .hours import ReworkReport as ReworkReport
from .hours import rework as rework
from .upstream_causes import UpstreamReport as UpstreamReport
from .upstream_causes import screened_of as screened_of
from .upstream_causes import upstream as upstream
from .yields import yields_of as yields_of
