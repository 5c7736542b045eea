"""How an answer is shown where a person looks at a terminal: set to its width, with marks and colours."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
