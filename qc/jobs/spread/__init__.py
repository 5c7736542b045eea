"""Work that falls into parts: done one after the other here, or by the workers of a cluster."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
