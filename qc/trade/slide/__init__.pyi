"""Types of what `qc.trade.slide` offers; the package fetches each name on first use."""

from .fit import INCH_MM as INCH_MM
from .fit import ISO_1_REFERENCE_C as ISO_1_REFERENCE_C
from .fit import STEEL_EXPANSION_PER_K as STEEL_EXPANSION_PER_K
from .fit import VOLUME_BALANCE_LIMIT as VOLUME_BALANCE_LIMIT
from .fit import LegClearance as LegClearance
from .fit import clearance_lost_um as clearance_lost_um
from .fit import clearance_um as clearance_um
from .fit import diameter_at_20c as diameter_at_20c
from .fit import leg_clearance as leg_clearance
from .fit import ovality_um as ovality_um
from .fit import per_side_um as per_side_um
from .fit import stack_root_sum_square as stack_root_sum_square
from .fit import stack_worst_case as stack_worst_case
from .fit import taper_um as taper_um
from .pairing import BODY_EXTRA_UM as BODY_EXTRA_UM
from .pairing import COSTS as COSTS
from .pairing import TUBE_MM as TUBE_MM
from .pairing import LeftTube as LeftTube
from .pairing import Pair as Pair
from .pairing import Pairing as Pairing
from .pairing import Tube as Tube
from .pairing import best_pairing_yield as best_pairing_yield
from .pairing import body_suspects as body_suspects
from .pairing import mean_mm as mean_mm
from .pairing import pair_tubes as pair_tubes
from .pairing import random_pairing_yield as random_pairing_yield
