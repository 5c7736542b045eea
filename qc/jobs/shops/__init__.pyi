"""Types of what `qc.jobs.shops` offers; the package fetches each name on first use."""

from .compared import ModelCompared as ModelCompared
from .compared import ShopApart as ShopApart
from .compared import ShopLevel as ShopLevel
from .compared import ShopsCompared as ShopsCompared
from .compared import between_words as between_words
from .compared import compare_shops as compare_shops
from .overlooked import NoGroup as NoGroup
from .overlooked import ShopGroup as ShopGroup
from .overlooked import ShopWatch as ShopWatch
from .together import ShopStanding as ShopStanding
from .together import ShopsTogether as ShopsTogether
from .together import status_of_shops as status_of_shops
