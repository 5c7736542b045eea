"""What an upload answers: its receipts, where what was accepted stands, what a card still lacks."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
