"""Types of what `qc.stats.noise` offers; the package fetches each name on first use."""

from .learning import PRIOR as PRIOR
from .learning import learn_noise as learn_noise
from .lots import lots_margin as lots_margin
from .scatter import NORMAL as NORMAL
from .scatter import Noise as Noise
from .scatter import Settled as Settled
from .shape import score_of as score_of
from .shape import score_of_t as score_of_t
