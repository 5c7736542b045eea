"""Types of what `qc.ingest.doubts.figures` offers; the package fetches each name on first use."""

from .comma_decimal import find_comma_decimal as find_comma_decimal
from .decimal_slip import find_decimal_slip as find_decimal_slip
from .factor_1000 import find_factor_1000 as find_factor_1000
from .gauge_not_zeroed import find_gauge_not_zeroed as find_gauge_not_zeroed
from .inch_for_mm import find_inch_for_mm as find_inch_for_mm
from .per_side import find_per_side as find_per_side
from .radius_for_diameter import find_radius_for_diameter as find_radius_for_diameter
