"""What is in whose hands: rows, pieces and reactions that wait; the cards of a day; the day as it ends."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
