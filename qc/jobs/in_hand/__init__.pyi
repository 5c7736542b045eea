"""Types of what `qc.jobs.in_hand` offers; the package fetches each name on first use."""

from .cards_in import CardsIn as CardsIn
from .cards_in import cards_of_day as cards_of_day
from .evening import BenchDay as BenchDay
from .evening import DayView as DayView
from .evening import day_view as day_view
from .holding import Holders as Holders
from .holding import Share as Share
from .holding import share_words as share_words
from .holding import who_holds as who_holds
