from dashboard import fields


def test_a_form_knows_its_route_and_who_waits_for_its_ticket():
    form = fields.desk_form("/held/decide", "sheets-done", [fields.line("Value", "value")], "f1")
    plain = form.to_plotly_json()["props"]
    assert (plain["data-desk"], plain["data-done"]) == ("/held/decide", "sheets-done")
    assert plain["id"] == "f1"
    assert plain["children"][-1].role == "status"


def test_nobody_is_chosen_beforehand(in_app, board, texts):
    label = fields.people(board.shop())
    options = label.children[1].children
    assert [o.value for o in options] == ["", "RA", "KM"]
    assert "Who says it" in texts(label)


def test_a_step_that_was_ticked_stays_ticked():
    box = fields.tick("Look.", "step", "Look.", True).children[0]
    assert box.checked and box.disabled and box.kind == "checkbox"
    fresh = fields.tick("Look.", "step", "Look.", False).children[0]
    assert not fresh.checked and not fresh.disabled
