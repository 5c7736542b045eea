"""What a chart costs in false signals and how fast it is: run lengths."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
