"""People in the store: the history is in the chain, names and secrets beside it; a name can be forgotten."""

import sqlite3

import pytest

from qc.store import JudgedUpTo, PersonWord, open_store, sheet_hash

NAMED = "people:\n  - {code: BK, name: Bo Kestrel}\n"
BLANK = 'people:\n  - {code: BK, name: ""}\n'


@pytest.fixture
def shop(tmp_path, make):
    """A store of two people, one of whom has set up PIN and password, and two texts of the plan."""
    with open_store(tmp_path) as store:
        store.record_plan(NAMED, who="OW", when=make.when)
        store.note_person("OW", PersonWord.ADDED, "owner", who="", when=make.when)
        store.note_person("BK", PersonWord.ADDED, "lead", who="OW", when=make.when, name="Bo Kestrel")
        store.set_up("BK", "lead", "pin-hash", "password-hash", when=make.when)
        store.record_plan(NAMED + "# two\n", who="OW", when=make.when)
    return tmp_path


def tamper(folder, statement):
    with sqlite3.connect(folder / "qc.db") as conn:
        conn.execute(statement)
    conn.close()


def complaints(folder):
    with open_store(folder) as store:
        return store.verify()


def test_each_word_is_an_entry_and_the_newest_holds(shop, make):
    with open_store(shop) as store:
        store.note_person("BK", PersonWord.ROLE, "technician", who="OW", when=make.when)
        store.note_person("OW", PersonWord.LEFT, "owner", who="OW", when=make.when)
        assert [(e.who, e.note) for e in store.entries() if e.kind == "person"] == [
            ("", "added OW"),
            ("OW", "added BK"),
            ("BK", "set-up BK"),
            ("OW", "role BK"),
            ("OW", "left OW"),
        ]
        owner, lead = store.people()
        assert (owner.at_work, owner.signed_up) == (False, False)
        assert (lead.role, lead.name, lead.at_work, lead.signed_up) == (
            "technician",
            "Bo Kestrel",
            True,
            True,
        )
        assert store.verify() == []


def test_the_chain_holds_no_name_and_no_secret(shop):
    conn = sqlite3.connect(shop / "qc.db")
    rows = (
        conn.execute("SELECT * FROM person_event").fetchall() + conn.execute("SELECT * FROM entry").fetchall()
    )
    conn.close()
    assert "Kestrel" not in repr(rows) and "-hash" not in repr(rows)


ALTERED = [
    ("UPDATE person SET name = 'Ina Sorrel' WHERE code = 'BK'", "name of the person BK"),
    ("UPDATE person SET name = 'Ina Sorrel', salt = 'x' WHERE code = 'OW'", "name of the person OW"),
    ("UPDATE person SET password = 'mine' WHERE code = 'BK'", "BK signs in with was altered"),
    ("UPDATE person SET pin = 'mine' WHERE code = 'OW'", "OW signs in with was altered"),
    ("UPDATE person SET pin = NULL, password = NULL WHERE code = 'BK'", "BK signs in with was taken away"),
    ("DELETE FROM person WHERE code = 'BK'", "BK was taken out"),
    ("INSERT INTO person (code, failures) VALUES ('XX', 0)", "XX was put into"),
]


@pytest.mark.parametrize("statement, told", ALTERED, ids=[told for _, told in ALTERED])
def test_what_was_altered_beside_the_chain_is_named(shop, statement, told):
    tamper(shop, statement)
    (sentence,) = complaints(shop)
    assert told in sentence


def test_a_role_altered_in_the_history_is_found_out(shop):
    conn = sqlite3.connect(shop / "qc.db")
    (guard,) = conn.execute("SELECT sql FROM sqlite_master WHERE name = 'person_event_no_update'").fetchone()
    conn.execute("DROP TRIGGER person_event_no_update")
    conn.execute("UPDATE person_event SET role = 'owner' WHERE code = 'BK'")
    conn.execute(guard)
    conn.commit()
    conn.close()
    assert any(sentence.startswith("Entry 3 (person by OW") for sentence in complaints(shop))


def test_a_name_is_forgotten_and_the_chain_stays_as_it_was(shop, make):
    with open_store(shop) as store:
        before = store.hashes()
        store.erase_name("BK", "lead", {1: BLANK, 2: BLANK + "# two\n"}, who="OW", when=make.when)
        store.forget_old_pages()
        assert store.verify() == []
        assert store.hashes()[: len(before)] == before and len(store.hashes()) == len(before) + 2
        assert store.plan_text(1) == BLANK and store.people()[1].name == ""
        assert store.plan_versions()[1].hash == sheet_hash((BLANK + "# two\n").encode())
    assert not [f.name for f in shop.glob("qc.db*") if b"Kestrel" in f.read_bytes()]


@pytest.mark.parametrize("database_url", ["postgresql"], indirect=True)
def test_a_name_that_is_forgotten_on_a_server_is_gone_from_the_files_of_its_tables(store, make):
    def files():
        asked = "SELECT pg_read_binary_file(pg_relation_filepath('{}'))"
        with store._database.engine.begin() as conn:
            conn.exec_driver_sql("CHECKPOINT")
            found = [conn.exec_driver_sql(asked.format(name)).scalar() for name in ("person", "plan_version")]
        return [b"Kestrel" in bytes(one) for one in found]

    store.record_plan(NAMED, who="OW", when=make.when)
    store.note_person("BK", PersonWord.ADDED, "lead", who="OW", when=make.when, name="Bo Kestrel")
    assert files() == [True, True]
    store.erase_name("BK", "lead", {1: BLANK}, who="OW", when=make.when)
    assert files() == [True, True], "what was replaced stands there still"
    store.forget_old_pages()
    assert files() == [False, False] and store.verify() == []


@pytest.mark.parametrize("text", [NAMED, "people: []\n"], ids=["the text of before", "a third text"])
def test_no_other_text_is_taken_in_the_place_of_an_erased_one(shop, make, text):
    with open_store(shop) as store:
        store.erase_name("BK", "lead", {1: BLANK}, who="OW", when=make.when)
    conn = sqlite3.connect(shop / "qc.db")
    (guard,) = conn.execute("SELECT sql FROM sqlite_master WHERE name = 'plan_version_no_update'").fetchone()
    conn.execute("DROP TRIGGER plan_version_no_update")
    conn.execute("UPDATE plan_version SET text = ?, hash = ? WHERE id = 1", (text, sheet_hash(text.encode())))
    conn.execute(guard)
    conn.commit()
    conn.close()
    (sentence,) = complaints(shop)
    assert sentence.startswith("Entry 1 (plan by OW")


def test_an_erasure_that_was_altered_or_added_by_hand_is_found_out(shop, make):
    with open_store(shop) as store:
        store.erase_name("BK", "lead", {1: BLANK}, who="OW", when=make.when)
    tamper(shop, "INSERT INTO erasure VALUES (9, 6, 'BK', 2, 'a', 'b')")
    found = complaints(shop)
    assert any(s.startswith("Entry 5 (plan") for s in found) and any(
        s.startswith("Entry 6 (erasure") for s in found
    )


def test_the_guard_of_the_plans_is_back_after_an_erasure(shop, make):
    with open_store(shop) as store:
        store.erase_name("BK", "lead", {1: BLANK}, who="OW", when=make.when)
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        tamper(shop, "UPDATE plan_version SET text = ''")


def test_sessions_are_found_by_their_digest_and_end_with_the_person(shop, make):
    with open_store(shop) as store:
        store.add_session("d1", "BK", "pin", when=make.when)
        store.add_session("d2", "BK", "password", when=make.when)
        store.add_session("d3", "OW", "password", when=make.when)
        assert (store.session("d1").code, store.session("d1").by, store.session("none")) == (
            "BK",
            "pin",
            None,
        )
        store.end_sessions(digest="d2")
        store.note_person("BK", PersonWord.LEFT, "lead", who="OW", when=make.when)
        assert [store.session(d) is None for d in ("d1", "d2", "d3")] == [True, True, False]
        store.open_once("OW", "x", make.when)
        assert store.session("d3") is None


def test_a_word_on_a_person_leaves_nothing_to_judge(tmp_path, make):
    with open_store(tmp_path) as store:
        store.record_plan(NAMED, who="OW", when=make.when)
        store.add_sheets([make.sheet(readings=make.readings(6))], who="AB", when=make.when)
        reached = store.reached()
        store.note_person("BK", PersonWord.ADDED, "lead", who="", when=make.when)
        store.erase_name("BK", "lead", {1: BLANK}, who="", when=make.when)
        assert store.waiting(JudgedUpTo.of(reached.to_dict())) is None
