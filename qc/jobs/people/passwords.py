"""What people sign in with: what is refused, and how it is kept, by a hash that is slow on purpose.

The hash is argon2id with the second recommended option of RFC 9106, section 4 (3 passes, 64 MiB, 4 lanes),
for machines without room for the first one's 2 GiB.
"""

from __future__ import annotations

import secrets
import threading
from datetime import timedelta
from hashlib import sha256
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from argon2.profiles import RFC_9106_LOW_MEMORY

from qc.errors import UsageError

PIN_DIGITS: Final = (4, 8)
"""Fewest and most digits of a PIN; chosen: typed many times a day, and locked after a few tries."""

PASSWORD_LENGTH: Final = (12, 128)
"""Fewest and most characters of a password. NIST SP 800-63B (2017), 5.1.1.2, asks for at least 8 and for at
least 64 to be taken, and advises against rules on kinds of characters."""

ONCE_LETTERS: Final = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""Without those that are taken for each other when they are read out: 0 and O, 1, I and L."""

ONCE_LENGTH: Final = 12
"""Characters of a one-time code: 31^12 is 2^59, so that not even its plain hash can be searched through."""

ONCE_LASTS: Final = timedelta(
    days=7
)  # chosen: a week's holiday between the code and the first day at the bench

FREE_TRIES: Final = 5
FIRST_LOCK: Final = timedelta(minutes=1)
LONGEST_LOCK: Final = timedelta(hours=12)
"""From the fifth failed try in a row on nobody signs in under that code for a minute, then for twice as long
after each further one, up to half a day. Chosen: a slip costs nothing, and a PIN of four digits, tried twice
a day from then on, would be met after some seven years on average."""

_HASHER = PasswordHasher.from_parameters(RFC_9106_LOW_MEMORY)
_ONE_AT_A_TIME = threading.Lock()
"""Each hash takes 64 MiB: many at once would take the board's memory."""


def keep_secret(secret: str) -> str:
    """Return the hash by which a PIN or password is kept."""
    with _ONE_AT_A_TIME:
        return _HASHER.hash(secret)


def is_secret(kept: str, secret: str) -> bool:
    """Say whether this is the PIN or password that was kept; takes as long where none was."""
    with _ONE_AT_A_TIME:
        try:
            return _HASHER.verify(kept or _nothing(), secret) and bool(kept)
        except (VerificationError, InvalidHashError):
            return False


def new_once() -> str:
    """Return a new one-time code, in groups of four as it is read out."""
    letters = "".join(secrets.choice(ONCE_LETTERS) for _ in range(ONCE_LENGTH))
    return "-".join(letters[at : at + 4] for at in range(0, ONCE_LENGTH, 4))


def once_digest(code: str) -> str:
    """Return the hash of a one-time code however it was typed; it is random, so a plain one will do.

    Examples
    --------
    >>> once_digest("ab2c defg-hjkm") == once_digest("AB2C-DEFG-HJKM")
    True
    """
    return sha256("".join(c for c in code.upper() if c.isalnum()).encode()).hexdigest()


def lock_for(failures: int) -> timedelta:
    """Return for how long nobody signs in after so many failed tries in a row.

    Examples
    --------
    >>> [str(lock_for(n)) for n in (4, 5, 6, 40)]
    ['0:00:00', '0:01:00', '0:02:00', '12:00:00']
    """
    if failures < FREE_TRIES:
        return timedelta(0)
    doubled: int = 2 ** min(failures - FREE_TRIES, 20)
    return min(LONGEST_LOCK, FIRST_LOCK * doubled)


def refuse_pin(pin: str, code: str = "") -> None:
    """Refuse a PIN that is none, or the first that anybody would try.

    Raises
    ------
    UsageError
        Why, and what to choose instead.
    """
    least, most = PIN_DIGITS
    if not (pin.isascii() and pin.isdigit() and least <= len(pin) <= most):
        raise UsageError(f"A PIN has {least} to {most} digits and nothing else. Choose one.")
    steps = {(int(b) - int(a)) % 10 for a, b in zip(pin, pin[1:], strict=False)}
    if steps <= {0} or steps in ({1}, {9}) or pin == code:
        raise UsageError(
            "This PIN is among the first that anybody would try. Choose digits without an order."
        )


def refuse_password(password: str, code: str = "", name: str = "") -> None:
    """Refuse a password that is too short, too long, or made of what everybody knows.

    Raises
    ------
    UsageError
        Why, and what to choose instead.
    """
    least, most = PASSWORD_LENGTH
    if len(password) < least:
        raise UsageError(
            f"A password has at least {least} characters. Four words that do not belong together will do."
        )
    if len(password) > most:
        raise UsageError(f"A password has at most {most} characters. Choose a shorter one.")
    plain = password.casefold()
    known = [part.casefold() for part in (code, *name.split()) if len(part) > 2]
    left = plain
    for part in known:
        left = left.replace(part, "")
    if len(set(plain)) < 5 or sum(c.isalnum() for c in left) < least // 2:
        raise UsageError(
            "This password is your name, your code or the same characters again. Four words that do not "
            "belong together will do."
        )


_kept_nothing: list[str] = []


def _nothing() -> str:
    """Return a hash that nothing fits, made once: trying it takes as long as a real one."""
    if not _kept_nothing:
        _kept_nothing.append(_HASHER.hash(secrets.token_hex(16)))
    return _kept_nothing[0]
