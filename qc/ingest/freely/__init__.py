"""Any layout at all: what stands around each figure, read together where no known layout fits."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
