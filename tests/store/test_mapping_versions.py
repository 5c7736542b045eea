"""The store keeps every text of what headings mean, before the sheets that were read with it."""

import pytest
from sqlalchemy.exc import DBAPIError


def test_a_text_is_kept_before_the_sheets_it_was_read_with(store, make):
    sheet = make.sheet(readings=make.readings(1))
    store.add_sheets([sheet], who="AB", when=make.when, mappings=lambda: "mappings: []\n")
    mapping, taken = store.entries()
    assert (mapping.kind, mapping.who, mapping.note, taken.kind) == ("mapping", "AB", "version 1", "sheet")
    (version,) = store.mapping_versions()
    assert (version.version, version.who, version.entry) == (1, "AB", mapping.id)
    assert version.text == "mappings: []\n"
    assert store.verify() == []


def test_a_changed_text_is_a_new_version_and_the_same_text_is_none(store, make):
    texts = ["a: 1\n", "a: 1\n", "a: ü\n"]
    assert [store.record_mappings(text, who="QL", when=make.when) for text in texts] == [1, 1, 2]
    assert [version.text for version in store.mapping_versions()] == ["a: 1\n", "a: ü\n"]
    assert [entry.kind for entry in store.entries()] == ["mapping", "mapping"]


def test_nothing_is_kept_where_the_text_cannot_be_made(store, make):
    def fails():
        raise ValueError("no text")

    with pytest.raises(ValueError, match="no text"):
        store.add_sheets([make.sheet()], who="AB", when=make.when, mappings=fails)
    assert store.entries() == [] and store.sheets() == []


def test_a_forged_version_is_seen(store, make, forge):
    store.record_mappings("a: 1\n", who="QL", when=make.when)
    with pytest.raises(DBAPIError, match="never changed or deleted"), store._database.engine.begin() as conn:
        conn.exec_driver_sql("UPDATE mapping_version SET text = 'a: 2'")
    forge(store, "UPDATE mapping_version SET text = 'a: 2'")
    assert any("entry 1" in fault.lower() for fault in store.verify())
