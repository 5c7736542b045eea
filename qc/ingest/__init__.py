"""Pure ingest: bytes and plan in; readings, events and held rows out.

``read_sheet`` turns bytes into grids of text, ``unfold`` a grid into rows, ``check`` rows into accepted and
held ones; ``mend_row`` and ``recheck`` bring a held row through the same door again.

The rooms, each standing on those before it: `cells` (what one cell says), `reading` (bytes to grids), `cards`
(a grid to the rows of a known card), `first_plan` (sheets to a proposed plan), `sources` (rows to readings
and events), `doubts`, `checking`. Beside them stand what all of them speak of: `errors`, `frames`, `known`,
`reasons`.

Names are fetched on first use, so that importing the package costs nothing; the stub beside this file lists
them.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
