from .comma_decimal import find_comma_decimal
from .decimal_slip import find_decimal_slip
from .factor_1000 import find_factor_1000
from .gauge_not_zeroed import find_gauge_not_zeroed
from .inch_for_mm import find_inch_for_mm
from .per_side import find_per_side
from .radius_for_diameter import find_radius_for_diameter

__all__ = [
    "find_comma_decimal",
    "find_decimal_slip",
    "find_factor_1000",
    "find_gauge_not_zeroed",
    "find_inch_for_mm",
    "find_per_side",
    "find_radius_for_diameter",
]
