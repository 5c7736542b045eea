"""Types of what `qc.store.people` offers; the package fetches each name on first use."""

from .roster import PersonRecord as PersonRecord
from .roster import PersonWord as PersonWord
from .roster import role_of as role_of
from .secrets import Secrets as Secrets
from .sessions import SessionRecord as SessionRecord
from .verbs import PeopleStore as PeopleStore
