"""The verbs of a store about people: who works here, what they sign in with, who is signed in."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import text

from qc.store.keeping import secrets_mark
from qc.store.people import erasing, roster, secrets, sessions
from qc.store.people.roster import PersonRecord, PersonWord
from qc.store.people.secrets import Secrets
from qc.store.people.sessions import SessionRecord
from qc.store.proven import ProvenStore


class PeopleStore(ProvenStore):
    """The verbs of a store about people; see `qc.store.Store`."""

    def people(self) -> list[PersonRecord]:
        """Return everybody who was ever added, in order of coming; those who left too."""
        with self._database.reading() as conn:
            return roster.read_people(conn)

    def note_person(
        self, code: str, what: PersonWord, role: str, *, who: str, when: datetime, name: str | None = None
    ) -> None:
        """Append what becomes of a person, an entry of the chain; a `name` is kept beside it."""
        with self._database.writing() as conn:
            roster.note(conn, code, what, role, who, when, name=name)

    def open_once(self, code: str, digest: str | None, until: datetime | None) -> None:
        """Take away what a person signs in with, and all their sessions; a one-time code takes its place."""
        with self._database.writing() as conn:
            secrets.put_once(conn, code, digest, until)
            sessions.end_sessions(conn, code=code)

    def set_up(self, code: str, role: str, pin: str, password: str, *, when: datetime) -> None:
        """Keep the hashes of the PIN and password that a person chose; an entry carries their mark."""
        with self._database.writing() as conn:
            secrets.put_secrets(conn, code, pin, password)
            mark = secrets_mark(pin, password)
            roster.note(conn, code, PersonWord.SET_UP, role, code, when, mark=mark)

    def secrets(self, code: str) -> Secrets | None:
        """Return the hashes of what a person signs in with, None for a stranger."""
        with self._database.reading() as conn:
            return secrets.read_secrets(conn, code)

    def put_failures(self, code: str, failures: int, locked_until: datetime | None) -> None:
        """Keep how many tries to sign in failed since the last good one, and until when none is taken."""
        with self._database.writing() as conn:
            secrets.put_failures(conn, code, failures, locked_until)

    def add_session(self, digest: str, code: str, by: str, *, when: datetime) -> None:
        """Keep that a person signed in: the digest of their cookie, and by what (pin, password, link)."""
        with self._database.writing() as conn:
            sessions.add_session(conn, digest, code, by, when)

    def session(self, digest: str) -> SessionRecord | None:
        """Return who is signed in under the digest of a cookie, None where nobody is."""
        with self._database.reading() as conn:
            return sessions.read_session(conn, digest)

    def see_session(self, digest: str, *, when: datetime) -> None:
        """Keep that a session is in use."""
        with self._database.writing() as conn:
            sessions.see_session(conn, digest, when)

    def end_sessions(self, *, digest: str = "", code: str = "", begun_before: datetime | None = None) -> None:
        """End one session, all of a person, or all that began before a moment."""
        with self._database.writing() as conn:
            sessions.end_sessions(conn, digest=digest, code=code, begun_before=begun_before)

    def erase_name(self, code: str, role: str, texts: Mapping[int, str], *, who: str, when: datetime) -> None:
        """Forget a person's name: beside the list of people, and in earlier texts of the plan.

        `texts` are those without the name, by version. An entry of the chain carries the hash of each new
        text, and `verify` takes exactly that one in the place of the old.
        """
        with self._database.writing() as conn:
            if self._database.sqlite:
                conn.execute(text("PRAGMA secure_delete = ON"))  # what was freed is overwritten
            erasing.erase_in_plans(conn, code, texts, who, when, sqlite=self._database.sqlite)
            roster.note(conn, code, PersonWord.ERASED, role, who, when)

    def forget_old_pages(self) -> None:
        """Empty the log beside the database, in which replaced pages stand; called after an erasure.

        On a server the two tables are written anew; its own log and archives keep what they hold.
        """
        if not self._database.sqlite:
            self._database.write_anew("person", "plan_version")
            return
        self._database.empty_log()
