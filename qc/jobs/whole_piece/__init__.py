"""All that is known of one piece: figures at each place, parts, life, what else it shares, when it leaves."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
