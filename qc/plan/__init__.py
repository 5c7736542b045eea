"""The measuring plan: what is measured, where, against what, by which gauge, and what to do about it.

Names are fetched on first use; the stub beside this file is the only list of what is offered.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
