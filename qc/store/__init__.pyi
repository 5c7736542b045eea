"""Types of what `qc.store` offers; the package fetches each name on first use."""

from .chain import Entry as Entry
from .errors import StoreError as StoreError
from .errors import StoreUnavailable as StoreUnavailable
from .intake import NewSheet as NewSheet
from .intake import SheetCount as SheetCount
from .location import OWN_FILE as OWN_FILE
from .location import private_folder as private_folder
from .location import refuse_network_share as refuse_network_share
from .pieces import JudgedUpTo as JudgedUpTo
from .pieces import News as News
from .pieces import Waiting as Waiting
from .plans import PlanVersion as PlanVersion
from .records import HeldReason as HeldReason
from .records import HeldRecord as HeldRecord
from .records import SheetRecord as SheetRecord
from .records import SignalRecord as SignalRecord
from .records import VerdictRecord as VerdictRecord
from .records import reasons_of as reasons_of
from .sheetfiles import sheet_hash as sheet_hash
from .store import Store as Store
from .store import open_store as open_store
from .verdicts import signal_id as signal_id
