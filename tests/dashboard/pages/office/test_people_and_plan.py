"""The pages of the office: the list and its forms, the plan, its versions, its editor."""

import re

import pytest

from dashboard.app import build_app
from dashboard.pages.office import people_list, plan_shown
from qc.jobs.office import mark_of

HOME = {"Host": "127.0.0.1:8050"}
OWN = {**HOME, "Origin": "http://127.0.0.1:8050"}


@pytest.fixture
def post(client):
    def posted(path, **form):
        return client.post(path, data=form, headers=OWN)

    return posted


def plain(text):
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_the_list_says_how_each_stands_and_offers_what_can_be_done(in_app, office, texts):
    page = people_list.layout()
    said = texts(page)
    for part in ("Oda Wren", "at work since 14 May 2026", "has not signed in yet", "left 14 May 2026"):
        assert part in said, part
    assert "New one-time code for KM" in said and "XL has left" not in said
    forms = [part.action for part in page._traverse() if getattr(part, "action", "")]
    assert forms == ["/people/reset", "/people/leave"] * 2 + ["/people/add"]
    office.listed = False
    assert "qc people add CODE --role owner" in texts(people_list.layout())


def test_a_one_time_code_is_shown_once_and_nothing_typed_becomes_markup(post, office):
    told = post("/people/add", code=" BK ", role="lead", name="Bo Kestrel")
    assert office.did == [("add", "BK", "lead", "Bo Kestrel", "")]
    assert "herd-&lt;b&gt;-9" in told.text and "Add it &lt;there&gt;." in told.text
    assert "until 14 May 2026; it is shown only now" in plain(told.text)
    assert told.headers["Cache-Control"] == "no-store"
    post("/people/reset", code="KM")
    post("/people/leave", code="KM")
    assert office.did[1:] == [("reset", "KM", ""), ("leave", "KM", "")]


@pytest.mark.parametrize("verb", ["add", "reset", "leave"])
def test_a_refusal_says_that_nothing_was_changed(post, verb):
    told = post(f"/people/{verb}", code="OW")
    assert told.status_code == 400 and "Nothing was changed" in told.text
    assert "OW is the only owner at work." in told.text


def test_the_plan_is_shown_with_its_versions(in_app, texts):
    page = plan_shown.layout()
    said = texts(page)
    for part in (
        "Clearance [µm]",
        "target 150, from 100 to 200 (bass)",
        "recorded only",
        "Models bass, alto",
    ):
        assert part in said, part
    assert "Nothing is measured at this stage." in said
    assert "tighter since the new reamer No sheet was read by it." in said
    assert "/plan/1/2" in [part.href for part in page._traverse() if getattr(part, "href", "")]


def test_two_versions_are_compared(in_app, texts):
    said = texts(plan_shown.difference_layout("1", "2"))
    assert "now to 200 µm." in said and "+ upper: 200 # <b>" in said and "taken out" in said
    assert "by RA: tighter since the new reamer" in said
    assert "has no version 9" in texts(plan_shown.difference_layout("1", "9"))
    assert "by number" in texts(plan_shown.difference_layout("x", "2"))


def test_the_editor_holds_the_plan_word_for_word(client, office):
    page = client.get("/plan/edit", headers=HOME)
    text = office.plan().text
    assert f"\n{text}</textarea>" in page.text and mark_of(text) in page.text
    assert "choose a name" in page.text and "KM (K. Moss)" in page.text


def test_with_a_fault_nothing_is_saved_and_what_was_typed_stays(post, office):
    for do in ("check", "save"):
        told = post("/plan/edit", plan="a fault\r\n<b>", why="because", mark="m", do=do, who="RA")
        assert told.status_code == 400
        assert (
            "The plan has 1 fault. Nothing is saved. Line 3: stages: is &lt;missing&gt;. Write it."
            in plain(told.text)
        )
        assert "\na fault\n&lt;b&gt;</textarea>" in told.text and 'value="because"' in told.text
        assert '<option value="RA" selected>' in told.text
    assert office.did == []


def test_a_check_saves_nothing_and_a_save_is_judged(post, office, desk):
    assert "It is not saved yet." in post("/plan/edit", plan="good", mark="m", do="check").text
    nobody = post("/plan/edit", plan="good", mark="m", do="save", why="new reamer")
    assert nobody.status_code == 400 and "Choose who changes the plan" in nobody.text and office.did == []
    refused = post("/plan/edit", plan="good", mark="m", do="save", why="", who="RA")
    assert refused.status_code == 400 and "Say why in a few words." in refused.text
    saved = post("/plan/edit", plan="good\r\nas gold", mark="m", do="save", why="new reamer", who="RA")
    assert "saved as version 3" in saved.text and "/plan/2/3" in saved.text
    assert office.did[-1] == ("save", "good\nas gold", "RA", "new reamer", "m") and desk.asked_to_judge


def test_a_post_without_the_token_of_a_page_is_refused(board, desk, office):
    client = build_app(board, desk, office=office).server.test_client()
    assert client.post("/people/add", data={"code": "BK"}, headers=HOME).status_code == 403
    assert office.did == []
