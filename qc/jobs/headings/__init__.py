"""What the headings of benches mean: proposed, handed in, and remembered beside the plan."""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
