"""Types of what `qc.jobs.office` offers; the package fetches each name on first use."""

from .offices import Office as Office
from .offices import OfficeClosed as OfficeClosed
from .offices import StoreOffice as StoreOffice
from .plan_pages import FigureLine as FigureLine
from .plan_pages import PlanDifference as PlanDifference
from .plan_pages import PlanPage as PlanPage
from .plan_pages import StagePage as StagePage
from .plan_pages import VersionLine as VersionLine
from .plan_pages import difference as difference
from .plan_pages import plan_page as plan_page
from .plan_saving import PlanFault as PlanFault
from .plan_saving import PlanSaved as PlanSaved
from .plan_saving import check_text as check_text
from .plan_saving import mark_of as mark_of
from .plan_saving import save_plan as save_plan
