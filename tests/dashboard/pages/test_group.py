"""The pages of a group: every workshop in a few lines, one figure beside the others, and who has them."""

from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import pytest

from dashboard import queries
from dashboard.app import build_app
from dashboard.door import Role, role_of
from dashboard.pages.group import figure, overview
from qc.jobs.shops import ModelCompared, NoGroup, ShopApart, ShopsCompared, ShopStanding, ShopsTogether

ELM = ShopStanding(
    "elm",
    "Elm Slides",
    date(2026, 11, 24),
    series=12,
    drifting=2,
    outside=1,
    open_signals=3,
    held_rows=4,
    stages=("Bow", "Slide"),
    to_hold=5,
    last_hand_in=date(2026, 11, 23),
    worst="Bow: Rise, drifting, 0.30 mm since B-034",
    budget="A board as quiet as this one tells one false signal in 30 working days.",
    weight=2.0,
)
ASH = ShopStanding("ash", fault="ash/plan.yaml: the plan has 1 fault.")
OAK = ShopStanding("oak", "Oak Bells", date(2026, 11, 24), series=3)
SHOPS = (
    ShopApart("oak", "Oak Bells", 30, 0.16, 0.002, 0.02, (0.012, 0.031), True, 0.15, "Oak Bells is wider."),
    ShopApart(
        "elm", "Elm Slides", 25, 0.14, 0.002, -0.02, (-0.03, 0.001), False, None, "Elm may be the same."
    ),
)
TENOR = ModelCompared("tenor", "Tenor", "mm", 0.15, (0.14, 0.16), 0.01, (0.0, 0.1), 0.2, SHOPS)
FOUND = ShopsCompared("group", "slide/clearance", "Slide: Clearance", (TENOR,), ("ash takes no part.",))


class Group(NoGroup):
    asked = ()

    def there(self):
        return True

    def standing(self):
        return ShopsTogether("group", (ASH, ELM, OAK))

    def figures(self):
        return (("slide/clearance", "Slide: Clearance"),)

    def compared(self, figure):
        return FOUND if figure == "slide/clearance" else "No workshop has that."


@pytest.fixture
def in_group(board, desk, office):
    app = build_app(board, desk, office=office, group=Group())
    with app.server.test_request_context("/", base_url="http://127.0.0.1:8050"):
        yield app


def test_each_workshop_is_told_in_a_few_lines_in_the_order_given(in_group, texts):
    said = texts(overview.layout())
    assert "Three workshops, 1 with a series that drifts, 1 could not be asked" in said
    assert said.index("ash could not be asked") < said.index("Elm Slides") < said.index("Oak Bells")
    assert "2 of 12 series drifting" in said and "Drifting at Bow and Slide." in said
    assert "to hold 5" in said and "held rows 4" in said and "last sheet 23 Nov 2026" in said
    assert ELM.worst in said and ELM.budget in said and "the plan has 1 fault" in said
    assert "qc board --workshop group/elm" in said and "as it was" in said and "last sheet never" in said
    assert "Slide: Clearance" in said


def test_one_figure_beside_the_others_with_its_intervals(in_group, texts):
    said = texts(figure.layout("slide", "clearance"))
    assert "2 workshops, mean 0.150 mm (0.140 to 0.160, 95 %)." in said
    assert "that they are all the same fits the readings too. Of so few workshops" in said
    assert "Oak Bells is wider." in said and "+20 µm (+12 to +31, 95 %)" in said
    assert "Who takes no part" in said and "ash takes no part." in said
    assert "No workshop has that." in texts(figure.layout("slide", "bore"))


def test_an_empty_group_and_one_without_shared_figures_say_so(in_group, texts, monkeypatch):
    monkeypatch.setattr(Group, "figures", lambda self: ())
    assert "No two workshops measure the same figure of the same model" in texts(overview.layout())
    monkeypatch.setattr(Group, "standing", lambda self: ShopsTogether("group", ()))
    assert "There is no workshop in group any more." in texts(overview.layout())


def test_what_waits_to_be_judged_is_said(in_group, texts, monkeypatch):
    late = replace(ELM, not_judged="Not judged since 2026-11-24 17:00.")
    monkeypatch.setattr(Group, "standing", lambda self: ShopsTogether("group", (late,)))
    assert "Not judged since 2026-11-24 17:00." in texts(overview.layout())


def test_a_past_day_does_not_change_it_and_the_page_says_so(in_group, texts, monkeypatch):
    monkeypatch.setattr(queries, "standing_day", lambda: date(2026, 10, 1))
    assert "The group is shown as it stands now" in texts(overview.layout())


def test_it_is_for_leads_and_only_where_there_is_a_group(in_app, in_group, texts):
    assert role_of(overview.layout) == role_of(figure.layout) == Role.LEAD
    assert overview.PAGE.there()


def test_a_board_over_one_workshop_has_no_such_page(in_app, texts):
    assert not overview.PAGE.there()
    for page in (overview.layout(), figure.layout("slide", "clearance")):
        assert "Start it with qc board --group FOLDER" in texts(page)
    assert SimpleNamespace(said=NoGroup().compared("x")).said.startswith("This board looks over one workshop")
    assert NoGroup().standing().workshops == () and NoGroup().figures() == ()
