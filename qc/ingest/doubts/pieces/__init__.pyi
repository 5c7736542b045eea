"""Types of what `qc.ingest.doubts.pieces` offers; the package fetches each name on first use."""

from .after_shipping import find_after_shipping as find_after_shipping
from .body_for_stocking import find_body_for_stocking as find_body_for_stocking
from .doubled_serial import find_doubled_serial as find_doubled_serial
from .model_differs import find_model_differs as find_model_differs
from .never_begun import find_never_begun as find_never_begun
from .second_card import find_second_card as find_second_card
from .serial_series import find_serial_series as find_serial_series
from .unknown_serial import find_unknown_serial as find_unknown_serial
from .used_twice import find_used_twice as find_used_twice
from .volume_balance import find_volume_balance as find_volume_balance
