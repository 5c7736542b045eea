"""Who is signed in at the board: by PIN at the bench, by password elsewhere, by a one-time code at first.

A cookie is a long random text; the store holds its digest. Whoever signs in with a PIN acts as a technician,
whatever the role: what a lead or an owner decides takes the password.
"""

from __future__ import annotations

import secrets
import threading
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Final, Protocol

from qc import clock
from qc.errors import MachineError, QcError
from qc.jobs.people import passwords
from qc.jobs.roles import Role
from qc.jobs.workshop import Workshop, open_workshop
from qc.store import PersonRecord, Secrets

PIN, PASSWORD, LINK, WALL = "pin", "password", "link", "wall"

LONGEST: Final = timedelta(hours=12)
"""A session ends after so long, used or not; chosen: a working day, so all sign in each morning."""

ON_THE_WALL: Final = timedelta(days=31)
"""That of a screen on the wall, which shows one page only; chosen: looked after once a month."""

IDLE: Final = {
    PIN: timedelta(hours=1),
    PASSWORD: timedelta(hours=4),
    LINK: LONGEST,
    WALL: ON_THE_WALL,
}
"""And when nobody used it for so long; chosen: a tablet lies about at the bench, a desk in an office."""

SEEN_EVERY: Final = timedelta(minutes=1)  # chosen: no page waits for a writer to say that it was looked at
PATIENCE_S: Final = 0.2
WRONG: Final = "Code and {} do not fit. Try again; after some tries the code is locked for a while."


class SignInRefused(QcError):
    """Nobody is signed in; the text says why."""


@dataclass(frozen=True, slots=True)
class Signed:
    """Who is signed in.

    Attributes
    ----------
    code, name : str
        The person; the name may be empty.
    role : Role
        As in the list of people.
    by : str
        ``pin``, ``password``, ``link`` or ``wall``.
    """

    code: str
    name: str
    role: Role
    by: str

    @property
    def acts_as(self) -> Role:
        """The role that counts now: a PIN, or a screen on the wall, makes nobody more than a technician."""
        return Role.TECHNICIAN if self.by in {PIN, WALL} else self.role


class Doorkeeper(Protocol):
    """What a board asks about people who sign in."""

    def asks(self) -> bool:
        """Return whether there is a list of people, so that nobody is let in without signing in."""
        ...

    def signed(self, cookie: str) -> Signed | None:
        """Return who is signed in under a cookie, None where nobody is."""
        ...

    def at_work(self) -> list[tuple[str, str]]:
        """Return code and shown name of those at work."""
        ...

    def sign_in(self, code: str, secret: str, by: str) -> str:
        """Return a new cookie; raises `SignInRefused`."""
        ...

    def set_up(self, code: str, once: str, pin: str, password: str) -> str:
        """Set PIN and password with a one-time code and return a new cookie; raises `QcError`."""
        ...

    def link(self) -> str:
        """Return a text that signs in once as the plan's lead; empty where there is a list of people."""
        ...

    def follow(self, link: str) -> str:
        """Return a new cookie for such a text; raises `SignInRefused`."""
        ...

    def hang(self, cookie: str) -> str:
        """Return a new cookie that shows the wall and nothing else, in the place of one by password."""
        ...

    def sign_out(self, cookie: str) -> None:
        """End the session of a cookie."""
        ...


class OpenDoor:
    """A doorkeeper of a board without a list of people: everybody is let in and nobody is signed in."""

    def asks(self) -> bool:
        """Return that nobody needs to sign in."""
        return False

    def signed(self, cookie: str) -> Signed | None:
        """Return that nobody is signed in."""
        return None

    def at_work(self) -> list[tuple[str, str]]:
        """Return nobody."""
        return []

    def sign_in(self, code: str, secret: str, by: str) -> str:
        """Refuse: there is nobody to sign in as."""
        raise SignInRefused(NO_LIST)

    def set_up(self, code: str, once: str, pin: str, password: str) -> str:
        """Refuse: there is nobody to sign in as."""
        raise SignInRefused(NO_LIST)

    def link(self) -> str:
        """Return nothing."""
        return ""

    def follow(self, link: str) -> str:
        """Refuse: no link was given out."""
        raise SignInRefused(USED_LINK)

    def hang(self, cookie: str) -> str:
        """Refuse: without a sign-in the wall needs none."""
        raise SignInRefused(NO_LIST)

    def sign_out(self, cookie: str) -> None:
        """Do nothing."""


NO_LIST: Final = (
    "This workshop has no list of people. Add the first at the command: qc people add CODE --role owner"
)
USED_LINK: Final = (
    "This link was used already, or the board was started anew since. Stop what serves the board and start "
    "it again: it prints a new one."
)


class StoreDoorkeeper:
    """The doorkeeper of a workshop.

    Parameters
    ----------
    folder : Path
        The workshop folder.
    """

    def __init__(self, folder: Path) -> None:
        self._workshop: Workshop = open_workshop(folder)
        self._store = self._workshop.store
        self._lock = threading.Lock()
        self._links: set[str] = set()

    def asks(self) -> bool:
        """Return whether there ever was a list of people; once there was, it stays so."""
        return bool(self._store.people())

    def signed(self, cookie: str) -> Signed | None:
        """Return who is signed in under a cookie; ends what is too old or was not used for too long."""
        if not cookie:
            return None
        digest, now = _digest(cookie), clock.now()
        found = self._store.session(digest)
        if found is None:
            return None
        longest = ON_THE_WALL if found.by == WALL else LONGEST
        if now - found.begun > longest or now - found.seen > IDLE.get(found.by, timedelta(0)):
            with suppress(MachineError):
                self._store.end_sessions(digest=digest)
            return None
        people = self._store.people()
        if found.by == LINK:
            return None if people else self._lead()
        own = _at_work(people, found.code)
        if own is None:
            return None
        if now - found.seen > SEEN_EVERY:
            with suppress(MachineError), self._store.impatient(PATIENCE_S):
                self._store.see_session(digest, when=now)
        return Signed(own.code, own.name or self._planned_name(own.code), Role(own.role), found.by)

    def at_work(self) -> list[tuple[str, str]]:
        """Return code and shown name of those at work, in order of coming."""
        people = [person for person in self._store.people() if person.at_work]
        named = [(one.code, one.name or self._planned_name(one.code)) for one in people]
        return [(code, f"{code} ({name})" if name else code) for code, name in named]

    def sign_in(self, code: str, secret: str, by: str) -> str:
        """Return a new cookie for a code with its PIN or password; each failed try is counted.

        Raises
        ------
        SignInRefused
            They do not fit, or too many tries failed; the sentence is the same for a stranger.
        """
        kind = "PIN" if by == PIN else "password"
        with self._lock:  # two tries at once would both be counted as the first
            kept = self._open(code)
            given = "" if kept is None else kept.pin if by == PIN else kept.password
            if not passwords.is_secret(given, secret) or kept is None:
                self._failed(code, kept)
                raise SignInRefused(WRONG.format(kind))
            if kept.failures:
                self._store.put_failures(code, 0, None)
        return self._let_in(code, by)

    def set_up(self, code: str, once: str, pin: str, password: str) -> str:
        """Set PIN and password with a one-time code, which is used up, and return a new cookie.

        Raises
        ------
        SignInRefused
            The code is not the one that was given out, or is too old, or too many tries failed.
        UsageError
            PIN or password is none to take; the one-time code can be used again.
        """
        with self._lock:
            kept = self._open(code)
            digest = passwords.once_digest(once)
            fits = kept is not None and bool(kept.once) and secrets.compare_digest(kept.once, digest)
            if kept is None or not fits:
                self._failed(code, kept)
                raise SignInRefused(
                    "Code and one-time code do not fit, or it was used already. Ask for a new one: "
                    "qc people reset CODE"
                )
            if kept.once_until is None or kept.once_until < clock.now():
                raise SignInRefused("This one-time code is too old. Ask for a new one: qc people reset CODE")
            own = _at_work(self._store.people(), code)
            if own is None:
                raise SignInRefused(WRONG.format("one-time code"))
            passwords.refuse_pin(pin, code)
            passwords.refuse_password(password, code, own.name)
            hashes = passwords.keep_secret(pin), passwords.keep_secret(password)
            self._store.set_up(code, own.role, *hashes, when=self._now())
        return self._let_in(code, PASSWORD)

    def link(self) -> str:
        """Return a text that signs in once as the plan's lead, as long as there is no list of people."""
        if self.asks() or not self._workshop.plan.workshop.lead:
            return ""
        text = secrets.token_urlsafe(24)
        self._links.add(_digest(text))
        return text

    def follow(self, link: str) -> str:
        """Return a new cookie for a text of `link`, which is used up.

        Raises
        ------
        SignInRefused
            It was used already, or none was given out.
        """
        with self._lock:
            if _digest(link) not in self._links or self.asks():
                raise SignInRefused(USED_LINK)
            self._links.remove(_digest(link))
        return self._let_in(self._workshop.plan.workshop.lead, LINK)

    def hang(self, cookie: str) -> str:
        """Return a new cookie that shows the wall and nothing else, in the place of one by password.

        Raises
        ------
        SignInRefused
            Nobody is signed in with a password under the cookie.
        """
        own = self.signed(cookie)
        if own is None or own.by != PASSWORD:
            raise SignInRefused("This takes your password: sign out, and sign in with it.")
        self._store.end_sessions(digest=_digest(cookie))
        return self._let_in(own.code, WALL)

    def sign_out(self, cookie: str) -> None:
        """End the session of a cookie, and those of all that are too old."""
        if cookie:
            self._store.end_sessions(digest=_digest(cookie), begun_before=clock.now() - ON_THE_WALL)

    def _let_in(self, code: str, by: str) -> str:
        cookie = secrets.token_urlsafe(32)
        self._store.add_session(_digest(cookie), code, by, when=clock.now())
        return cookie

    def _open(self, code: str) -> Secrets | None:
        """Return what a person at work signs in with; refuses while too many tries have failed."""
        kept = self._store.secrets(code)
        if kept is None or _at_work(self._store.people(), code) is None:
            return None
        if kept.locked_until is not None and kept.locked_until > clock.now():
            wait = kept.locked_until - clock.now()
            raise SignInRefused(
                f"Too many tries failed: {code} can sign in again in {_wait_words(wait)}, or at once with a "
                f"new one-time code: qc people reset {code}"
            )
        return kept

    def _failed(self, code: str, kept: Secrets | None) -> None:
        if kept is None:
            return
        failures = kept.failures + 1
        lock = passwords.lock_for(failures)
        self._store.put_failures(code, failures, clock.now() + lock if lock else None)

    def _lead(self) -> Signed:
        lead = self._workshop.plan.workshop.lead
        return Signed(lead, self._planned_name(lead), Role.LEAD, LINK)

    def _planned_name(self, code: str) -> str:
        person = self._workshop.plan.person(code)
        return person.name if person is not None else ""

    def _now(self) -> datetime:
        """Return the moment of entry: on the day that the plan fixes, where it fixes one."""
        shop = self._workshop.plan.workshop
        return clock.moment(shop.time_zone, shop.today)


def _digest(cookie: str) -> str:
    return sha256(cookie.encode()).hexdigest()


def _at_work(people: list[PersonRecord], code: str) -> PersonRecord | None:
    return next((person for person in people if person.code == code and person.at_work), None)


def _wait_words(wait: timedelta) -> str:
    minutes = int(wait.total_seconds() // 60) + 1
    hours = round(minutes / 60)
    return f"{minutes} minute{'' if minutes == 1 else 's'}" if minutes < 90 else f"about {hours} hours"
