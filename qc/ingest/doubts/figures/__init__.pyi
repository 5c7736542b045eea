"""Types of what `qc.ingest.doubts.figures` offers; the package fetches each name on first use."""

from .columns_swapped import find_columns_swapped as find_columns_swapped
from .comma_decimal import find_comma_decimal as find_comma_decimal
from .decimal_slip import find_decimal_slip as find_decimal_slip
from .digits_swapped import find_digits_swapped as find_digits_swapped
from .factor_1000 import find_factor_1000 as find_factor_1000
from .far_from_usual import find_far_from_usual as find_far_from_usual
from .gauge_not_zeroed import Wrong as Wrong
from .gauge_not_zeroed import find_gauge_not_zeroed as find_gauge_not_zeroed
from .gauge_not_zeroed import stretches_off as stretches_off
from .inch_for_mm import find_inch_for_mm as find_inch_for_mm
from .many_counted import find_many_counted as find_many_counted
from .other_model import find_other_model as find_other_model
from .per_side import find_per_side as find_per_side
from .radius_for_diameter import find_radius_for_diameter as find_radius_for_diameter
from .sign_lost import find_sign_lost as find_sign_lost
