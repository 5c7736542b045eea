"""What the board's office does: the plan read, compared, checked and saved; the list of people kept."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
