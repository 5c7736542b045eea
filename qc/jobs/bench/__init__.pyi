"""Types of what `qc.jobs.bench` offers; the package fetches each name on first use."""

from .asked import BenchBox as BenchBox
from .asked import BenchCard as BenchCard
from .asked import BenchField as BenchField
from .doubts import BenchDoubt as BenchDoubt
from .entering import BenchOutcome as BenchOutcome
from .entering import WaitingRow as WaitingRow
from .entering import enter_card as enter_card
from .looking import BenchData as BenchData
from .looking import BenchPiece as BenchPiece
from .typed import TypedCard as TypedCard
from .typed import read_typed as read_typed
