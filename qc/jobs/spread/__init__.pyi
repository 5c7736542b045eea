"""Types of what `qc.jobs.spread` offers; the package fetches each name on first use."""

from .cluster import hands_of as hands_of
from .cluster import on_cluster as on_cluster
from .hands import Hands as Hands
from .hands import in_turn as in_turn
