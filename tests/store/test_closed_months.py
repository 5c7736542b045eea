"""A month is closed once: its files by name and hash, with who and when, in the chain."""

import pytest

from qc.store import StoreError, open_store
from qc.store.pieces import JudgedUpTo

FILES = {"month-2026-01.pdf": "1" * 64, "month-2026-01.xlsx": "2" * 64}


def test_a_closed_month_comes_back_with_its_files_who_and_when(tmp_path, make):
    with open_store(tmp_path) as store:
        assert store.closed_months() == []
        number = store.close_month("2026-01", FILES, who="QL", when=make.when)
        store.close_month("2025-12", {"old.pdf": "3" * 64}, who="AB", when=make.when)
        first, second = store.closed_months()
        assert (first.month, first.who, first.when, first.entry) == ("2026-01", "QL", make.when, number)
        assert first.files == FILES and (second.month, second.who) == ("2025-12", "AB")
        assert [(one.kind, one.note) for one in store.entries()] == [
            ("month", "closed 2026-01"),
            ("month", "closed 2025-12"),
        ]
        assert len(store.verify()) == 3, "no such file lies in the folder"


def test_a_month_is_not_closed_twice_nor_without_a_file(tmp_path, make):
    with open_store(tmp_path) as store:
        store.close_month("2026-01", FILES, who="QL", when=make.when)
        with pytest.raises(StoreError, match="2026-01 is closed already"):
            store.close_month("2026-01", {"b.pdf": "4" * 64}, who="QL", when=make.when)
        with pytest.raises(StoreError, match="no file is named"):
            store.close_month("2026-02", {}, who="QL", when=make.when)
        assert len(store.closed_months()) == len(store.entries()) == 1


def test_a_closed_month_leaves_nothing_to_judge(tmp_path, make):
    with open_store(tmp_path) as store:
        store.add_sheets([make.sheet(readings=make.readings(6))], who="AB", when=make.when)
        reached = store.reached()
        store.close_month("2026-01", FILES, who="QL", when=make.when)
        assert store.waiting(JudgedUpTo.of(reached.to_dict())) is None
