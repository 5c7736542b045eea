from dataclasses import replace

import pytest

from dashboard.pages import series_rules
from qc.stats import rule_run_length
from qc.watch import apply_rules


def test_every_rule_has_its_price_beside_its_switch_and_none_is_on(in_app, view, texts):
    fold = series_rules.rules_fold(view)
    said = texts(fold)
    assert said.startswith("Classic pattern rules: off unless you switch one on")
    for name, price in (("avoiding-center(8)", "14 000"), ("beyond-limit", "370"), ("zigzag(14)", "600")):
        assert name in said[: said.index(f"one false signal in {price} pieces")]
    assert said.index("avoiding-center") < said.index("same-side") < said.index("zigzag")
    ticked = [part for part in fold._traverse() if getattr(part, "kind", "") == "checkbox"]
    assert len(ticked) == 8 and not any(part.checked for part in ticked)


def test_a_figure_that_wears_has_no_rules(in_app, wearing, texts):
    worn = replace(
        wearing.verdict,
        stretches=tuple(replace(s, line_from=1.0, line_to=2.0) for s in wearing.verdict.stretches),
    )
    said = texts(series_rules.rules_fold(replace(wearing, verdict=worn)))
    assert "wears along its tool's line" in said and "one false signal" not in said


def test_the_price_of_rules_together_is_that_of_their_union(in_app, view, texts):
    said = texts(series_rules.price(["beyond-limit", "same-side"], view))
    both = rule_run_length("beyond-limit,same-side").mean
    assert 215 < both < 225 and "These two rules together raise about one false signal in 220 pieces." in said
    # 84 series at one in 244 a piece and one signal in 31 days bring 239 pieces a month
    assert f"about {239.4 / both:.1f} a month" in said
    assert series_rules.price([], view) == [] and series_rules.price(["zigzag"], None) == []


def test_rules_that_cannot_be_priced_say_so(in_app, board, view, monkeypatch, texts):
    monkeypatch.setattr(board, "rules_price", lambda chosen: None)
    assert "cannot be priced" in texts(series_rules.price(["zigzag"], view))


def test_what_they_find_is_listed_with_what_it_rests_on(view, texts):
    rules = apply_rules(view.verdict, ["beyond-limit"])
    said = texts(series_rules.found(rules, ["beyond-limit"], view))
    assert f"of {rules.judged}" in said and rules.hits[-1].point.serial in said
    assert "textbook limits" in said and "from the 35 pieces TQ-0397 to TQ-0431" in said
    assert series_rules.found(rules, [], view) == []
    assert "no level" in texts(series_rules.found(replace(rules, reason="no level"), ["zigzag"], view))


def test_a_long_list_is_cut(view, texts):
    rules = apply_rules(view.verdict, ["beyond-limit"])
    many = replace(rules, hits=rules.hits[:1] * 15)
    assert "and 3 more." in texts(series_rules.found(many, ["beyond-limit", "zigzag"], view))


@pytest.mark.parametrize(
    "switched, expected",
    [
        (None, ([], "textbook")),
        ({"rule": ["zigzag", "made-up"], "limits": ["guaranteed"]}, (["zigzag"], "guaranteed")),
        ({"limits": ["moon"]}, ([], "textbook")),
    ],
)
def test_only_known_switches_are_believed(switched, expected):
    assert series_rules.chosen_of(switched) == expected
