"""Types of what `qc.store.keeping` offers; the package fetches each name on first use."""

from .copies import copy_database as copy_database
from .copies import copy_file as copy_file
from .copies import flush_file as flush_file
from .copies import flush_tree as flush_tree
from .cut import CutDatabase as CutDatabase
from .cut import KnownThen as KnownThen
from .cut import LateReadings as LateReadings
from .cut import read_handed_in_later as read_handed_in_later
from .cut import read_last_by as read_last_by
from .guards import guard as guard
from .persons import mark_of as mark_of
from .persons import secrets_mark as secrets_mark
from .retold import signals_as_told as signals_as_told
from .told import MARK as MARK
from .told import PROGRAM as PROGRAM
from .told import Grounds as Grounds
from .told import ToldRecord as ToldRecord
from .told import adopt_what_was_kept as adopt_what_was_kept
from .told import hash_of as hash_of
from .told import read_last_mark as read_last_mark
from .told import read_told as read_told
from .told import read_told_signals as read_told_signals
from .told import tell as tell
from .verify import faults_of_store as faults_of_store
