"""Types of what `qc.store.postgresql` offers; the package fetches each name on first use."""

from .built import faults_of_building as faults_of_building
from .bulk import SHARES as SHARES
from .bulk import fetch_as_arrow as fetch_as_arrow
from .bulk import put_rows as put_rows
from .durable import make_durable as make_durable
from .ordering import by_bytes as by_bytes
from .refused import in_doubt as in_doubt
from .refused import said_by_server as said_by_server
