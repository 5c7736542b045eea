"""Types of what `qc.report.drawings` offers; the package fetches each name on first use."""

from .remedies import draw_coat as draw_coat
from .remedies import draw_pairs as draw_pairs
from .remedies import draw_tuning as draw_tuning
from .remedies import draw_wear as draw_wear
from .study import plot_study as plot_study
