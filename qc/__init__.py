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

from __future__ import annotations

from importlib import import_module
from typing import Any

_JOBS = {
    "chart_factors": "qc.jobs.factors",
    "coat": "qc.jobs.remedies.coat",
    "gauge_agreement": "qc.jobs.gauge",
    "gauge_check_standard": "qc.jobs.gauge_days",
    "gauge_linearity": "qc.jobs.gauge",
    "gauge_over_days": "qc.jobs.gauge_days",
    "gauge_study": "qc.jobs.gauge",
    "limit_factors": "qc.jobs.factors",
    "list_held": "qc.jobs.held",
    "list_signals": "qc.jobs.signals",
    "make_demo": "qc.jobs.demo",
    "month": "qc.jobs.month",
    "new_workshop": "qc.jobs.new",
    "open_workshop": "qc.jobs.workshop",
    "pair": "qc.jobs.remedies.pair",
    "read_sheet": "qc.jobs.remedies.sheet",
    "run_lengths": "qc.jobs.run_lengths",
    "status": "qc.jobs.status",
    "study": "qc.jobs.study",
    "t2_limits": "qc.jobs.factors",
    "tune": "qc.jobs.remedies.tune",
    "upload": "qc.jobs.upload",
    "wear": "qc.jobs.remedies.wear",
}
_PACKAGES = ("plan", "stats", "trade", "watch")
_OPEN = ("qc.stats", "qc.trade")
"""Packages whose every public name can be had from here; the first that has a name gives it."""


def __getattr__(name: str) -> Any:
    """Fetch a public name from where it lives."""
    if name in _JOBS:
        return getattr(import_module(_JOBS[name]), name)
    if name in _PACKAGES:
        return import_module(f"{__name__}.{name}")
    if not name.startswith("_"):
        for package in map(import_module, _OPEN):
            if name in package.__all__:
                return getattr(package, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names."""
    names = set(_JOBS) | set(_PACKAGES)
    for package in map(import_module, _OPEN):
        names |= set(package.__all__)
    return sorted(names)
