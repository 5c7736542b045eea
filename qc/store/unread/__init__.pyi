"""Types of what `qc.store.unread` offers; the package fetches each name on first use."""

from .kept import NewUnread as NewUnread
from .kept import UnreadRecord as UnreadRecord
from .kept import UnreadState as UnreadState
from .kept import keep_unread as keep_unread
from .kept import settle_unread as settle_unread
from .kept import unread_hashes as unread_hashes
from .verbs import UnreadStore as UnreadStore
