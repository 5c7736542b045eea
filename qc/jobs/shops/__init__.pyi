"""Types of what `qc.jobs.shops` offers; the package fetches each name on first use."""

from .together import ShopStanding as ShopStanding
from .together import ShopsTogether as ShopsTogether
from .together import status_of_shops as status_of_shops
