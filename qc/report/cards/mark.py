"""The square that a scanner reads: the id of a card as a QR code, typed at the bench as if by hand."""

from __future__ import annotations

import io
from typing import Final

QUIET: Final = 4
"""White modules around the code (ISO/IEC 18004, quiet zone)."""


def scan_mark(text: str) -> bytes:
    """Draw a text as a QR code.

    Parameters
    ----------
    text : str
        What the scanner is to type.

    Returns
    -------
    bytes
        An svg with its quiet zone, black on white; a quarter of the code may be soiled (level Q) and it is
        still read.

    References
    ----------
    .. [1] ISO/IEC 18004, "QR Code bar code symbology specification"; drawn by a general-purpose library.
    """
    import segno

    out = io.BytesIO()
    code = segno.make(text, error="q", micro=False, boost_error=False)
    code.save(out, kind="svg", border=QUIET, dark="#000", light="#fff", xmldecl=False, nl=False)
    return out.getvalue()
