"""Pure statistics: arrays or columns in, frozen results out.

Nine rooms, each with a face of its own: `numbers`, `samples`, `capable`, `run_lengths`, `change`, `wear`,
`charts`, `gauges` and `studies`. Names are fetched from them on first use, so that importing the package
costs nothing; the stub beside this file is the only list of what is offered.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
