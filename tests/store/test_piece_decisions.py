"""What is decided about pieces: kept with who and when, in order, and never changed."""

import pytest

from qc.store import PieceDecision, PieceWord, StoreError, open_store
from qc.store.pieces import JudgedUpTo


def decision(make, serial="TB-1", what=PieceWord.RELEASED, text="measured again", who="QL"):
    return PieceDecision(
        serial, what, "slide", "force", "limit", ": 2.0 in None to 1.8", text, who, make.when
    )


def test_decisions_come_back_as_they_were_made_oldest_first(tmp_path, make):
    first, second = decision(make), decision(make, "TB-2", PieceWord.KEPT_BACK, "dent")
    with open_store(tmp_path) as store:
        store.decide_pieces([first, second])
        store.decide_pieces([decision(make, what=PieceWord.KEPT_BACK)])
        every = store.decided_of_pieces()
        assert every[:2] == [first, second] and len(every) == 3
        assert [one.what for one in store.decided_of_pieces(["TB-1"])] == ["released", "kept-back"]
        assert [(one.kind, one.who, one.note) for one in store.entries()] == [
            ("piece", "QL", "released TB-1"),
            ("piece", "QL", "kept-back TB-1"),
        ]
        assert store.verify() == []


def test_nothing_decided_is_no_entry(tmp_path):
    with open_store(tmp_path) as store, pytest.raises(StoreError, match="No piece was named"):
        store.decide_pieces([])


def test_a_word_on_a_piece_leaves_nothing_to_judge(tmp_path, make):
    with open_store(tmp_path) as store:
        store.add_sheets([make.sheet(readings=make.readings(6))], who="AB", when=make.when)
        reached = store.reached()
        store.decide_pieces([decision(make)])
        assert store.waiting(JudgedUpTo.of(reached.to_dict())) is None


def test_figures_pass_over_what_was_taken_back_or_comes_later(tmp_path, make):
    with open_store(tmp_path) as store:
        store.add_sheets([make.sheet(readings=make.readings(6))], who="AB", when=make.when)
        full = store.readings()
        stage, name, day = full["stage"][0], full["characteristic"][0], full["day"].max()
        found = store.figures(stage, [name], until=day)
        assert found["value"].to_list() == full["value"].to_list()
        assert found.select("serial", "day", "gauge", "leg").equals(
            full.select("serial", "day", "gauge", "leg")
        )
        store.withdraw_reading(full["id"][2], who="QL", when=make.when)
        left = store.figures(stage, [name], until=day)
        assert left["id"].to_list() == [n for n in full["id"] if n != full["id"][2]]
        one = full["serial"][0]
        assert set(store.figures(stage, [name], until=day, serials=[one])["serial"]) == {one}
        assert store.figures(stage, [name], until=full["day"].min()).height <= left.height
        assert store.newest_day() == day
