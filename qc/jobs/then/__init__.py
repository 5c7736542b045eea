"""What was known on a day: the workshop as it stood then, and what is new since."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
