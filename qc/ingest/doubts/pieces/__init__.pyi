from .body_for_stocking import find_body_for_stocking
from .doubled_serial import find_doubled_serial
from .model_differs import find_model_differs
from .unknown_serial import find_unknown_serial
from .volume_balance import find_volume_balance

__all__ = [
    "find_body_for_stocking",
    "find_doubled_serial",
    "find_model_differs",
    "find_unknown_serial",
    "find_volume_balance",
]
