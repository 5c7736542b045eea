"""Every answer in words for a terminal.

Each function takes figures and gives several lines without a line end; `value` and `file` are the column and
the file that were asked about. Names are fetched on first use; the stub beside this file is the only list.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
