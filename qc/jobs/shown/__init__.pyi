"""Types of what `qc.jobs.shown` offers; the package fetches each name on first use."""

from .pointing import Answer as Answer
from .pointing import PointedLine as PointedLine
from .pointing import PointedSheet as PointedSheet
from .pointing import Pointing as Pointing
from .pointing import Preview as Preview
from .pointing import ShownData as ShownData
from .reading_again import read_waiting as read_waiting
