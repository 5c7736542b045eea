"""What was recorded around pieces and measured on them before: what of it changed where a signal began."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
