"""The program that makes the sample workshop; the same seed gives the same bytes."""

from __future__ import annotations

from sample_measurements.make.workshop import SEED, make_sheets, make_workshop, sample_flow, sample_plan

__all__ = ["SEED", "make_sheets", "make_workshop", "sample_flow", "sample_plan"]
