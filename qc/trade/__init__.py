"""Pure brass: acoustics, tuning, slide fit, drawing, coating, wear; plain values in, results out.

Names are fetched on first use, so that importing the package costs nothing; the stub beside this file is
the only list of what is offered.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
