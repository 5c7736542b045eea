"""Types of what `qc.jobs.signals` offers; the package fetches each name on first use."""

from .asking import find_signal as find_signal
from .asking import list_signals as list_signals
from .asking import with_to_tick as with_to_tick
from .life import ANSWERED_WITHIN as ANSWERED_WITHIN
from .life import SAID_ALREADY as SAID_ALREADY
from .life import SignalLife as SignalLife
from .life import SignalList as SignalList
from .life import asked_since as asked_since
from .life import had_before as had_before
from .life import life_of as life_of
from .life import owner_of as owner_of
from .pieces import MadeUnder as MadeUnder
from .pieces import made_under as made_under
from .saying import say_of_signal as say_of_signal
from .saying import take_tick_back as take_tick_back
from .saying import tick_every_piece as tick_every_piece
from .saying import tick_off as tick_off
from .waiting import had_words as had_words
from .waiting import waiting_line as waiting_line
from .waiting import waiting_plain as waiting_plain
from .waiting import waiting_signals as waiting_signals
