"""What is worth measuring: the sentence, what could change, every figure, and what if."""

import json
from typing import get_args

from dash import html

from dashboard import door
from dashboard.pages.worth import figure, overview
from qc.watch.worth import Advice


def test_the_page_opens_with_one_sentence_and_what_could_change(in_app, board, texts):
    assert overview.WAIT in texts(overview.layout())  # the page stands before anything is worked out
    said = texts(html.Div(overview.body_of(board.worth())))
    assert "2 figures take about 6.5 bench hours a month; 1 of them could be measured otherwise." in said
    assert "With each reading taken twice, it is told after 8." in said
    assert "How far the gauge scatters" not in said  # what stays is in the table only
    assert "12 (11 to 13)" in said and "Draw: Tube OD" in said


def test_names_of_the_plan_stand_as_code(in_app, board):
    page = json.dumps(overview.body_of(board.worth()), default=lambda part: part.to_plotly_json())
    assert '"children": "reading_seconds"' in page and "`" not in page


def test_a_shop_where_nothing_is_charted_says_so(in_app, board, texts):
    quiet = type(board)(quiet=True)
    assert "Nothing is charted yet." in texts(html.Div(overview.body_of(quiet.worth())))


def test_nothing_to_change_is_said_in_the_sentence(board):
    rows = board.worth().rows[1:]
    said = overview.headline(type(board.worth())(2.5, (), rows, "", ()))
    assert said == "1 figure takes about 2.5 bench hours a month; none of them could be measured otherwise."


def test_a_figure_has_its_advice_its_figures_and_the_question(in_app, board, texts):
    key = board.verdicts()[0].key
    said = texts(figure.layout(key.stage, key.characteristic, key.family))
    assert "what a reading buys" in said and "To be seen within so many pieces" in said
    row = board.worth().rows[0]
    said = texts(html.Div(figure.body_of(row)))
    assert "Take each reading twice." in said and "240 a month on 10 pieces" in said
    assert overview.worth_address(row) == "/worth/slide/clearance/all"


def test_every_advice_has_its_words():
    assert set(figure.ADVICE_WORDS) == set(get_args(Advice))


def test_a_figure_that_is_not_there_is_not_found(in_app, texts):
    assert "There is no such series in the plan." in texts(figure.layout("slide", "wall", "all"))


def test_the_answer_is_fetched_when_asked_for(client, app):
    name = next(key for key in app.callback_map if key.startswith(figure.ASKED))
    fields = {"worth-see": "1.0", "worth-within": "5", "worth-limit": None}
    body = {
        "output": name,
        "outputs": {"id": figure.ASKED, "property": "children"},
        "inputs": [{"id": "worth-ask", "property": "n_clicks", "value": 1}],
        "changedPropIds": ["worth-ask.n_clicks"],
        "state": [
            *[{"id": field, "property": "value", "value": value} for field, value in fields.items()],
            {"id": "worth-series", "property": "data", "value": "slide/clearance/all"},
        ],
    }
    client.get("/")
    token = app.server.config[door.TOKEN_KEY]
    found = client.post("/_dash-update-component", json=body, headers={"X-CSRFToken": token})
    said = found.get_json()["response"][figure.ASKED]["children"]
    assert said[0] == "slide/clearance/all: 1.0 within 5, limit ; see "
    assert said[1]["type"] == "Code"
