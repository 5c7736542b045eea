"""Types of what `qc.jobs.then` offers; the package fetches each name on first use."""

from .comparing import Changes as Changes
from .comparing import changes_since as changes_since
from .looking import known as known
from .looking import later_words as later_words
from .looking import said_of_then as said_of_then
from .waited import days_words as days_words
from .waited import unanswered_words as unanswered_words
from .waited import waited_words as waited_words
