"""What the room offers."""

from .aims import Aims as Aims
from .aims import NewTarget as NewTarget
from .derive import derived_readings as derived_readings
from .derive import sources_of as sources_of
from .points import Points as Points
from .points import series_points as series_points
