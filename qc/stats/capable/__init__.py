"""Capability: whether a process keeps its limits, with which interval, how many pieces would settle it."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
