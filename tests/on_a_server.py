"""With QC_TESTS_ON=postgresql the workshops that tests open have their rows on the server of the tests.

The first time a folder is opened it gets a database of its own and a `database.txt` that names it: what
its `qc.db` holds is carried over, what a copied folder names is copied. Programs that a test starts find
the file.
"""

from __future__ import annotations

import hashlib
import os
import weakref
from pathlib import Path

from postgres_server import Server, name_of

VARIABLE = "QC_TESTS_ON"
OURS = "qc_of_"
MOST_CONNECTED = 12
"""Chosen: a test that types a hundred commands in its own process leaves as many connections behind, and
three processes of tests would then ask for more than the two hundred that the server has."""


def wanted() -> bool:
    """Say whether workshops go to the server."""
    return os.environ.get(VARIABLE) == "postgresql"


def lay(server: Server, migrated: str, patch) -> None:
    """Let every workshop of this process be opened on the server."""
    import qc.jobs.verify
    import qc.jobs.workshop
    from qc.store.database import Database

    plain = qc.jobs.workshop.rows_address

    def address(folder: Path) -> str | None:
        known = plain(folder)
        if not folder.is_dir() or (known and not name_of(known).startswith(OURS)):
            return known  # a test of the address itself
        own = OURS + hashlib.sha1(str(folder.resolve()).encode(), usedforsecurity=False).hexdigest()[:24]
        if known and name_of(known) == own:
            return known
        new = server.make(name_of(known) if known else migrated, own)
        if not known and (folder / "qc.db").is_file():
            _carry(folder, new)
        qc.jobs.workshop.keep_address(folder, new)
        return new

    begin = Database.__init__

    def counted(self, url, *more):
        begin(self, url, *more)
        if len(_OF_THIS_TEST) >= MOST_CONNECTED:
            let_go()
        _ENGINES.add(self.engine)
        _OF_THIS_TEST.append(self.engine)

    patch.setattr(Database, "__init__", counted)
    patch.setattr(qc.jobs.workshop, "rows_address", address)
    patch.setattr(qc.jobs.verify, "rows_address", address)


_ENGINES: weakref.WeakSet = weakref.WeakSet()
_OF_THIS_TEST: list = []


def let_go() -> None:
    """Close what a test left connected, as the end of a program does; a store still in use connects again."""
    for engine in list(_ENGINES):
        engine.dispose()
    _OF_THIS_TEST.clear()


def _carry(folder: Path, address: str) -> None:
    from qc.store import open_store

    with open_store(folder) as here, open_store(folder, url=address) as there:
        if here.hashes():
            here.carry_into(there)
