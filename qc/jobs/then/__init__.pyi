"""Types of what `qc.jobs.then` offers; the package fetches each name on first use."""

from .looking import known as known
from .looking import said_of_then as said_of_then
