"""Types of what `qc.store.keeping` offers; the package fetches each name on first use."""

from .copies import copy_database as copy_database
from .copies import copy_file as copy_file
from .copies import flush_file as flush_file
from .copies import flush_tree as flush_tree
from .told import MARK as MARK
from .told import PROGRAM as PROGRAM
from .told import Grounds as Grounds
from .told import ToldRecord as ToldRecord
from .told import adopt_what_was_kept as adopt_what_was_kept
from .told import read_told as read_told
from .told import read_told_signals as read_told_signals
from .told import tell as tell
from .verify import faults_of_store as faults_of_store
