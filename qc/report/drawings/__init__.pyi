"""Types of what `qc.report.drawings` offers; the package fetches each name on first use."""

from .study import plot_study as plot_study
