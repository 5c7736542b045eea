"""Quality control for a small slide-brass workshop, for a notebook: the same results as the command.

Names are fetched on first use, so ``import qc`` costs nothing. What a person asks for stands here by name
(`open_workshop`, `upload`, `status`, `month`, `study`, `gauge_study`, `run_lengths`, `chart_factors`,
`limit_factors`, `tune`, `pair`, `wear`, `coat`); every statistic is in `qc.stats`, every computation of the
trade in `qc.trade`, and both can be had from here too. Answers have `to_dict()`, `to_text()` and
`to_frame()`, and show themselves as a table in a notebook.

Examples
--------
>>> import qc
>>> found = qc.detect([5.1, 4.9, 5.0, 5.2, 4.8, 5.0, 5.1, 4.9, 5.0, 5.1, 5.6, 5.7, 5.6, 5.8])
>>> [(s.kind, s.start) for s in found.signals]
[('shift', 11)]
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
