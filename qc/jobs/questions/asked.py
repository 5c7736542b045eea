"""What a study can be asked, for the faces above; light, so that a command's help loads no statistics."""

from __future__ import annotations

from qc.stats.studies import KINDS as CHART_KINDS
from qc.stats.studies import OPTIONS as STUDY_OPTIONS
from qc.stats.studies import takers

__all__ = ["CHART_KINDS", "STUDY_OPTIONS", "takers"]
