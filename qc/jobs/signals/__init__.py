"""Signals and their life: open, in hand, closed with what became of the cause, closed as false, reopened."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
