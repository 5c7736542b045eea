"""Types of what `qc.ingest.first_plan` offers; the package fetches each name on first use."""

from .drafted import PlanDraft as PlanDraft
from .drafted import draft_plan as draft_plan
from .seen import SeenFigure as SeenFigure
from .seen import SeenSheet as SeenSheet
from .seen import look_at as look_at
from .written import plan_text as plan_text
