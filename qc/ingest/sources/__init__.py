"""One adaptor per source: a new one is a module here, a line in `unfolding`, a word in the plan's model."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
