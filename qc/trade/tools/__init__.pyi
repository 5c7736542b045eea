"""Types of what `qc.trade.tools` offers; the package fetches each name on first use."""

from .drawing import SpringBack as SpringBack
from .drawing import VolumeBalance as VolumeBalance
from .drawing import area_reduction as area_reduction
from .drawing import draw_force_kn as draw_force_kn
from .drawing import eccentricity as eccentricity
from .drawing import length_after_mm as length_after_mm
from .drawing import modified_upper_limit as modified_upper_limit
from .drawing import section_mm2 as section_mm2
from .drawing import spring_back as spring_back
from .drawing import spun_wall_mm as spun_wall_mm
from .drawing import tube_parts_at_kn as tube_parts_at_kn
from .drawing import volume_balance as volume_balance
from .drawing import wall_mm as wall_mm
from .wear import BEND_RISK as BEND_RISK
from .wear import FAR_AHEAD as FAR_AHEAD
from .wear import WearLine as WearLine
from .wear import fit_wear as fit_wear
