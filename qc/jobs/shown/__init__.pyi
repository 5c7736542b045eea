"""Types of what `qc.jobs.shown` offers; the package fetches each name on first use."""

from .reading_again import read_waiting as read_waiting
