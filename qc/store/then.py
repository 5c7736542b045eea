"""A store as it stood once an entry was written: every question of a store, and nothing that writes."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from sqlalchemy import insert

from qc.store.keeping import MARK, CutDatabase, read_last_mark, signals_as_told
from qc.store.states import put_states
from qc.store.store import Store
from qc.store.tables import signal
from qc.store.verdicts import read_numbers, save_verdicts


class PastStore(Store):
    """A store that ends at an entry; signals and the mark stand in it as they had been told by then.

    Verdicts are told without their points, so whoever opens it judges and lays them down.
    """

    @classmethod
    def of(cls, store: Store, last: int, refusal: str) -> PastStore:
        """Return a store as it was when entry number `last` was its newest.

        Parameters
        ----------
        store : Store
            The store as it is; may be used and closed beside the new one.
        last : int
            Number of an entry; 0 stands for before the first.
        refusal : str
            What is said to whoever wants to write.
        """
        database = CutDatabase(store._database.url, last, refusal)
        past = cls(store.folder, database, store._files)
        with store._database.reading() as present:
            numbers = read_numbers(present)
        with database.filling() as conn:
            mark = read_last_mark(conn)
            if mark is not None:
                put_states(conn, {MARK: json.loads(mark)})
            rows = [
                {
                    "id": own,
                    **row,
                    "body": json.dumps(row["body"], ensure_ascii=False),
                    "number": numbers.get(own),
                }
                for own, row in signals_as_told(conn).items()
            ]
            if rows:
                conn.execute(insert(signal), rows)
        past._cut = database
        return past

    _cut: CutDatabase

    def lay_down(self, found: Iterable[tuple[date, Mapping[str, Any]]], states: Mapping[str, Any]) -> None:
        """Put verdicts (plain values), each with the day judged by, and small values where they are sought.

        The signals in them are kept as well, as far as they had not been told.
        """
        with self._cut.filling() as conn:
            for day, body in found:
                save_verdicts(conn, [body], day)
            put_states(conn, states)
