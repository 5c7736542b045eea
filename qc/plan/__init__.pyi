"""Types of what `qc.plan` offers; the package fetches each name on first use."""

from .columns import EVENT as EVENT
from .columns import EVENT_KINDS as EVENT_KINDS
from .columns import HELD as HELD
from .columns import PLACE as PLACE
from .columns import READING as READING
from .dump import dump_plan as dump_plan
from .errors import PlanError as PlanError
from .errors import PlanFault as PlanFault
from .load import check_plan as check_plan
from .load import load_plan as load_plan
from .load import read_plan_text as read_plan_text
from .model import Card as Card
from .model import Characteristic as Characteristic
from .model import DatedLimits as DatedLimits
from .model import Derive as Derive
from .model import Gauge as Gauge
from .model import Model as Model
from .model import ModelValve as ModelValve
from .model import Person as Person
from .model import Plan as Plan
from .model import Shop as Shop
from .model import Stage as Stage
from .model import Tool as Tool
from .template import template_text as template_text
from .versions import keep_past as keep_past
