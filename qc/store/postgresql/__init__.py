"""What only PostgreSQL needs: the order of words, what it says when it refuses, guards, rows in bulk."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
