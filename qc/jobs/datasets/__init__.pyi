"""Types of what `qc.jobs.datasets` offers; the package fetches each name on first use."""

from .dataset import ROW as ROW
from .dataset import Dataset as Dataset
from .dataset import DatasetTable as DatasetTable
from .dataset import open_dataset as open_dataset
from .parts import DatasetPart as DatasetPart
from .parts import InParts as InParts
from .parts import in_parts as in_parts
