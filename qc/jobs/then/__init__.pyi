"""Types of what `qc.jobs.then` offers; the package fetches each name on first use."""

from .looking import as_known as as_known
