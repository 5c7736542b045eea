"""The bars that a hand scanner reads: Code 39, one stripe pattern a sign.

Code 39 asks nothing of the scanner beyond what every hand scanner does as it comes, and what it reads is typed
like from a keyboard: the name of a card in capitals, which the reader of cards knows as well as small ones.

References
----------
.. [1] ISO/IEC 16388, "Automatic identification and data capture techniques - Code 39 bar code symbology
   specification": nine elements a sign, three of them wide, wide to narrow 2:1 to 3:1, a start and stop sign,
   ten narrow elements of quiet zone. The patterns below are set from memory of its table and were read back by
   a general-purpose bar code library.
"""

from __future__ import annotations

WIDE = 2.5  # within the 2:1 to 3:1 of the standard [narrow elements]
START_STOP = "*"

_WIDE_BARS = {
    "1": "10001", "2": "01001", "3": "11000", "4": "00101", "5": "10100",
    "6": "01100", "7": "00011", "8": "10010", "9": "01010", "0": "00110",
}  # fmt: skip
"""Which of a sign's five bars are wide; ten signs share each and differ in the one wide space."""

_SPACES = {"0100": "1234567890", "0010": "ABCDEFGHIJ", "0001": "KLMNOPQRST", "1000": "UVWXYZ-. *"}
"""Which of the four spaces between a sign's bars is wide, for the ten signs in the order of `_WIDE_BARS`."""


def code_text(name: str) -> str:
    """Return a card's id in the signs of the code.

    The code has no small letters and no underscore; the reader takes capitals for small letters and a blank for an
    underscore.

    Examples
    --------
    >>> code_text("slide-card"), code_text("bell_map.2")
    ('SLIDE-CARD', 'BELL MAP.2')
    """
    return name.upper().replace("_", " ")


def stripes(text: str) -> tuple[tuple[float, float], ...]:
    """Return the bars of a text as (from, width), in narrow elements from the left edge of the first bar.

    Parameters
    ----------
    text : str
        Digits, capitals, blank, hyphen and point; the start and stop signs are added.

    Returns
    -------
    tuple of (float, float)
        Five bars a sign, with one narrow space between signs; the quiet zone is the page's.

    Raises
    ------
    KeyError
        A sign that the code does not have.

    Examples
    --------
    >>> stripes("A")[5:10]
    ((13.5, 2.5), (17.0, 1.0), (19.0, 1.0), (22.5, 1.0), (24.5, 2.5))
    """
    patterns = _patterns()
    found: list[tuple[float, float]] = []
    at = 0.0
    for sign in f"{START_STOP}{text}{START_STOP}":
        for place, element in enumerate(patterns[sign]):
            width = WIDE if element == "1" else 1.0
            if place % 2 == 0:
                found.append((at, width))
            at += width
        at += 1.0
    return tuple(found)


def _patterns() -> dict[str, str]:
    """Return the nine elements of each sign, bar and space in turn, 1 for a wide one."""
    found = {}
    for spaces, signs in _SPACES.items():
        for sign, bars in zip(signs, _WIDE_BARS.values(), strict=True):
            found[sign] = "".join(bar + space for bar, space in zip(bars, f"{spaces} ", strict=True)).strip()
    return found
