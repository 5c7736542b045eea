"""The month: gathered from the store, written three ways, closed for good by the lead."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
