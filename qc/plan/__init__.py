"""The measuring plan: what is measured, where, against what, by which gauge, and what to do about it."""

from __future__ import annotations

from qc.plan.columns import EVENT, EVENT_KINDS, HELD, PLACE, READING
from qc.plan.dump import dump_plan
from qc.plan.errors import PlanError, PlanFault
from qc.plan.load import check_plan, load_plan, read_plan_text
from qc.plan.model import (
    Card,
    Characteristic,
    DatedLimits,
    Derive,
    Gauge,
    Model,
    ModelValve,
    Person,
    Plan,
    Shop,
    Stage,
    Tool,
)
from qc.plan.template import template_text
from qc.plan.versions import keep_past

__all__ = [
    "EVENT",
    "EVENT_KINDS",
    "HELD",
    "PLACE",
    "READING",
    "Card",
    "Characteristic",
    "Derive",
    "Gauge",
    "DatedLimits",
    "Model",
    "Person",
    "Plan",
    "PlanError",
    "PlanFault",
    "Stage",
    "Tool",
    "ModelValve",
    "Shop",
    "check_plan",
    "dump_plan",
    "keep_past",
    "load_plan",
    "read_plan_text",
    "template_text",
]
