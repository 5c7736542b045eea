from dataclasses import replace

import pytest

from dashboard.pages import today


@pytest.fixture
def view(board):
    return board.today()


def test_a_finding_says_what_what_beside_it_and_what_next(in_app, view, texts):
    said = texts(today.changes(view))
    signal = view.findings[0].current
    assert said.index(signal.sentence) < said.index(signal.because) < said.index("Next: check M-7")


def test_worst_comes_first(in_app, view, texts):
    said = texts(today.changes(view))
    places = [said.index(v.current.sentence) for v in view.findings]
    assert places == sorted(places)


@pytest.mark.parametrize(
    "step, said",
    [
        ("Check the mandrel.", "Next: check the mandrel."),
        ("G-03 goes to the bench.", "Next: G-03 goes to the bench."),
        ("Next week, look again.", "Next week, look again."),
    ],
)
def test_the_next_step_is_introduced_once(in_app, view, texts, step, said):
    first = view.findings[0]
    signal = replace(first.current, next_step=step)
    shown = replace(view, findings=(replace(first, signals=(signal,)),))
    assert said in texts(today.changes(shown))


def test_an_old_backup_is_reminded_of_quietly(in_app, board, texts):
    assert "backup" not in texts(today.layout())
    board.backup = "The last backup is 9 days old: make one on another disk with `qc backup DIR`."
    page = today.layout()
    assert "The last backup is 9 days old: " in texts(page)
    (line,) = today.backup_line(board.backup)
    assert line.className == "small" and line.children[1].to_plotly_json()["type"] == "Code"


def test_a_quiet_workshop_shows_a_quiet_page(in_app, view, texts):
    said = texts(today.changes(replace(view, findings=())))
    assert "Nothing has moved." in said and "worst" not in said


def test_a_workshop_without_sheets_is_led_to_the_first(in_app, view, texts):
    said = texts(today.changes(replace(view, findings=(), series=0)))
    assert "No sheet has come in yet." in said and "Hand in the first sheets" in said


def test_many_findings_are_cut_with_the_rest_one_click_away(in_app, view, texts):
    many = replace(view, findings=view.findings[:1] * 20)
    assert "12 more on the signals page" in texts(today.changes(many))


def test_the_card_of_the_day(in_app, view, texts):
    said = texts(today.today_card(view))
    for part in (
        "Cards in today",
        "11 of 13",
        "Held rows to look at",
        "D-12",
        "G-03, due 24 Nov",
        "Shipped this month",
        "14",
    ):
        assert part in said
    assert "Not in yet: Valve card, Polishing card." in said


def test_what_waits_is_said_with_whom_it_is(in_app, view, texts):
    said = texts(today.today_card(view))
    assert "Open reactions 3 nobody yet 2, RA 1; 1 overdue" in said
    assert "Slide card 3, Lacquer card 1; 2 for more than a week" in said
    assert "Pieces to hold 9 Lacquer 9" in said
    links = [part.href for part in today.today_card(view)._traverse() if getattr(part, "href", "")]
    assert links[:3] == ["/signals", "/sheets", "/hold"]


def test_where_nothing_waits_nothing_is_listed(in_app, board, texts):
    own = type(board)(quiet=True).today()
    said = texts(today.today_card(replace(own, held_rows=0, cards_missing=())))
    assert "Held rows to look at none" in said
    assert "reactions" not in said and "hold" not in said and "Not in" not in said


def test_an_earlier_day_of_cards_is_named(in_app, view, texts):
    said = texts(today.today_card(replace(view, cards_day=view.cards_day.replace(day=20))))
    assert "Cards in, 20 Nov" in said


def test_many_things_due_are_counted(in_app, view, texts):
    many = replace(view, gauges_due=tuple(replace(view.gauges_due[0], id=f"G-{n}") for n in range(5)))
    assert "G-4" not in texts(today.today_card(many))


def test_the_price_of_the_board_is_said_in_days(view):
    assert today.budget_line(view) == (
        "At this setting: about one false signal in 31 days over 84 series. A piece of a series that has not "
        "changed is called in error once in 240 pieces. Last false one: 12 October."
    )
    assert "Last false" not in today.budget_line(replace(view, last_false=None))
    assert today.budget_line(replace(view, series=0)) == "No series is watched yet."


def test_the_tube_says_every_stage_in_words(in_app, view, texts):
    said = texts(today.tube(view.stages))
    for stage in view.stages:
        assert stage.name in said
    assert "limits not kept" in said and "2 of 4 pieces" in said


def test_a_gauge_that_is_due_leads_to_its_page(in_app, view):
    links = [part.href for part in today.today_card(view)._traverse() if getattr(part, "href", "")]
    assert "/gauges/G-03" in links and not any("T-01" in link for link in links)


def test_every_open_signal_is_on_the_first_screen_older_single_ones_folded(in_app, board, view, texts):
    one, two, three = (replace(board.signals()[0], id=f"x{n}", standing="open") for n in range(3))
    said = texts(today.changes(replace(view, waiting=(one,), older=(two, three))))
    assert "Open as well" in said and one.signal.sentence in said
    assert "2 older ones wait" in said and said.index("Open as well") < said.index("2 older ones wait")
    alone = texts(today.changes(replace(view, findings=(), older=(two,))))
    assert "1 older one waits" in alone and "Open as well" not in alone


def test_what_stays_outside_its_limits_stays_on_the_list(in_app, view, texts):
    first = view.findings[0]
    stays = replace(first, not_kept_by=first.current.raised)
    said = texts(today.changes(replace(view, findings=(), not_kept=(stays,))))
    assert f"the new level stays, limits not kept since {first.current.start_serial}" in said
    found = repr(today.changes(replace(view, findings=(), not_kept=(stays,))))
    # the first column of a row is as wide as a mark: a sentence there runs a letter a line
    assert "children=[Span(None), Link(" in found
