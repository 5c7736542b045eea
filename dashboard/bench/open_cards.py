"""Which tablet has which card open, so that the second is told; forgotten when the board stops."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import Final

REMEMBERED_S: Final = 1800.0
"""How long a tablet that says nothing more counts as being on a card [s]; chosen: a break is shorter."""

MOST: Final = 500  # cards remembered; chosen, far above what a shop has in hand at once
TABLETS: Final = 20  # remembered of one card; chosen: a shop has fifteen benches
MOST_TEXT: Final = 80  # characters of a card's id, of a serial; whoever types more types the same card


@dataclass(slots=True)
class _Open:
    tablet: str
    who: str
    begun: float
    seen: float


class OpenCards:
    """Remembers who types which card of which piece."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._open: dict[tuple[str, str], list[_Open]] = {}

    def note(self, card: str, serial: str, tablet: str, who: str) -> tuple[str, int] | None:
        """Note that a tablet types a card.

        Parameters
        ----------
        card, serial : str
            The card and its piece.
        tablet : str
            The id that the tablet gave itself.
        who : str
            Person named on it, or empty.

        Returns
        -------
        tuple of (str, int) or None
            Who had begun before on another tablet and how many minutes ago; None where nobody had.
        """
        now = time.monotonic()
        with self._lock:
            key = _key(card, serial)
            alive = [one for one in self._open.get(key, []) if now - one.seen < REMEMBERED_S]
            own = next((one for one in alive if one.tablet == tablet), None)
            if own is None:
                own = _Open(tablet, who, now, now)
                alive.append(own)
            own.seen, own.who = now, who or own.who
            self._open[key] = alive[:1] + alive[1:][-TABLETS:]  # who was the first is told to all others
            while len(self._open) > MOST:
                self._open.pop(next(iter(self._open)))
            first = next((one for one in alive if one.begun < own.begun), None)
            return None if first is None else (first.who, int((now - first.begun) // 60))

    def forget(self, card: str, serial: str, tablet: str) -> None:
        """Forget a card that a tablet has handed in."""
        with self._lock:
            key = _key(card, serial)
            left = [one for one in self._open.get(key, []) if one.tablet != tablet]
            if left:
                self._open[key] = left
            else:
                self._open.pop(key, None)


def _key(card: str, serial: str) -> tuple[str, str]:
    return card[:MOST_TEXT], serial.strip()[:MOST_TEXT].casefold()
