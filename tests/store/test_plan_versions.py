"""The store keeps every text of the plan."""

from datetime import timedelta

import pytest

from qc.store import StoreError


def test_a_changed_text_is_a_new_version_and_the_same_text_is_none(store, make):
    texts = ["a: 1\n", "a: 1\n", "a: 2 # ü\n", "a: 1\n"]
    assert [store.record_plan(text, who="QL", when=make.when) for text in texts] == [1, 1, 2, 3]
    assert [store.plan_text(version) for version in (1, 2, 3)] == ["a: 1\n", "a: 2 # ü\n", "a: 1\n"]
    assert store.plan_text() == "a: 1\n"
    assert [entry.kind for entry in store.entries()] == ["plan"] * 3
    assert store.verify() == []


def test_versions_say_who_when_and_whether_a_sheet_came_under_them(store, make):
    later = make.when + timedelta(days=2)
    store.record_plan("a: 1\n", who="QL", when=make.when)
    store.record_plan("a: 2\n", who="AB", when=make.when)
    store.add_sheets([make.sheet(readings=make.readings(1))], who="AB", when=make.when)
    store.record_plan("a: 3\n", who="QL", when=later)
    versions = store.plan_versions()
    assert [(v.version, v.who, v.when, v.used) for v in versions] == [
        (1, "QL", make.when, False),
        (2, "AB", make.when, True),
        (3, "QL", later, False),
    ]
    assert versions[2].to_dict()["when"] == later.isoformat()
    store.add_sheets([make.sheet("b.csv")], who="AB", when=later)
    assert [v.used for v in store.plan_versions()] == [False, True, True]


def test_what_is_not_there_is_said(store, make):
    with pytest.raises(StoreError, match="none yet of the plan"):
        store.plan_text()
    store.record_plan("a: 1\n", who="QL", when=make.when)
    with pytest.raises(StoreError, match="no version 9 of the plan"):
        store.plan_text(9)
