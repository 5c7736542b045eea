"""Series whose readings are asked for together are the same as each read by itself, with fewer questions."""

import pytest

from qc.jobs.judging import windows
from qc.jobs.judging.windows import Windows
from qc.jobs.workshop import open_workshop


@pytest.fixture
def asked(demo_folder, monkeypatch):
    """Return a function that reads the windows of every series, and how many questions that took."""
    shop = open_workshop(demo_folder)
    questions = []
    readings = type(shop.store).readings

    def counted(store, **what):
        questions.append(what)
        return readings(store, **what)

    monkeypatch.setattr(type(shop.store), "readings", counted)

    def read(*, together):
        questions.clear()
        own = Windows(shop, afresh=True)
        if together:
            own.ask_together(shop.plan.charted())
        found = [own.read(*series, None) for series in shop.plan.charted()]
        return found, len(questions)

    yield read
    shop.store.close()


def test_together_is_the_same_as_one_by_one_with_fewer_questions(asked):
    alone, many = asked(together=False)
    found, few = asked(together=True)
    assert found == alone and any(one.points.points for one in found)
    assert few < many


def test_with_very_many_cards_each_is_read_alone(asked, monkeypatch):
    monkeypatch.setattr(windows, "MANY_CARDS", 0)
    alone, many = asked(together=False)
    found, asked_then = asked(together=True)
    assert found == alone and asked_then == many
