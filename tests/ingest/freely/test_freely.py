"""Sheets of no known layout are read by what stands around each figure, or asked about, and never misread."""

from datetime import date
from pathlib import Path

import pytest

from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.ingest.cards import card_headings
from qc.ingest.freely.shortened import Lexicon, word_cost
from qc.plan import PLACE, load_plan

STRANGERS = Path(__file__).parents[2] / "strangers"
PLANS = {"seventh": date(2026, 6, 19), "sixth": date(2026, 10, 16)}
OPEN = {"05", "16", "18", "20", "21", "31", "32"}
"""Layouts that are refused or asked about, some since the reader cannot do more yet; none is misread."""


def layouts():
    """Give name, plan, sheet and what must come of it; written before the reader that they try."""
    for part in (Path(__file__).parent / "layouts.txt").read_text("utf-8").split("=== ")[1:]:
        head, _, rest = part.partition("\n")
        name, plan = head.split()
        sheet, _, wanted = rest.partition("\n---\n")
        yield name, plan, sheet, wanted


def meant(text):
    """Return what lines name: serial, model, day, figure, fixed places, a kind with place=figure each."""
    found = set()
    for line in text.strip().splitlines():
        serial, model, day, figure, *rest = line.split()
        fixed, kind = [], ""
        for word in rest:
            if word.endswith(":"):
                kind = word[:-1]
            elif kind:
                place, _, value = word.partition("=")
                found.add((serial, model, day, figure, frozenset((*fixed, f"{kind}={place}")), float(value)))
            elif word == "=":
                found.add((serial, model, day, figure, frozenset(fixed), float(rest[-1])))
                break
            else:
                fixed.append(word)
    return found


def accepted(name, plan, sheet):
    """Return the readings that go in unasked; None where the sheet is refused."""
    shop = load_plan((STRANGERS / plan / "plan.yaml").read_text("utf-8"))
    try:
        parts = [unfold(grid, shop) for grid in read_sheet(f"{sheet}\n".encode(), f"{name}.csv")]
    except SheetError:
        return None
    found = set()
    for one in check(parts, shop, Known(today=PLANS[plan])):
        for row in one.readings.to_dicts():
            places = frozenset(f"{kind}={row[kind]}" for kind in PLACE if row[kind] not in (None, ""))
            told = (row["serial"], row["model"], str(row["day"]), row["characteristic"], places)
            found.add((*told, round(float(row["value"]), 6)))
    return found


@pytest.mark.parametrize(("name", "plan", "sheet", "wanted"), list(layouts()))
def test_a_fresh_layout_is_read_or_asked_about(name, plan, sheet, wanted):
    found = accepted(name, plan, sheet)
    if name in OPEN:
        said = set() if wanted.startswith("?") else meant(wanted)
        assert found is None or found <= said  # nothing goes in under a wrong name
    else:
        assert found == meant(wanted)


@pytest.mark.parametrize(
    ("typed", "word", "likely"),
    [
        ("leak", "leak", True),
        ("lk", "leak", True),
        ("thr", "throat", True),
        ("wt", "mass", True),
        ("u", "upper", True),
        ("kl", "leak", False),
        ("leaked", "leak", False),
        ("eak", "leak", False),
    ],
)
def test_a_word_stands_for_those_that_it_shortens(typed, word, likely):
    assert (word_cost(typed, word) is not None) == likely


def test_a_nearer_word_costs_less():
    costs = [word_cost(typed, "throat") for typed in ("throat", "thr", "th", "t")]
    assert costs == sorted(costs) and len(set(costs)) == len(costs)


def words_of(card_id):
    """Return what may be meant on a card of the seventh stranger's plan."""
    plan = load_plan((STRANGERS / "seventh" / "plan.yaml").read_text("utf-8"))
    return Lexicon(card_headings(next(card for card in plan.cards if card.id == card_id), plan))


def test_a_short_word_keeps_all_it_may_mean():
    """``L`` alone is a leg or a station; beside another station only the leg is left."""
    words = words_of("draw-log")
    assert {told.places for told in words.ways("L")} >= {(("leg", "lower"),), (("station", "lead"),)}
    best = words.ways("Wall L lead")[0]
    assert (best.figure, dict(best.places)) == ("value:tube_wall", {"leg": "lower", "station": "lead"})


def test_a_remark_is_no_label():
    assert words_of("bell-card").ways("polished again after the customer had called about the delivery") == []


def test_one_direction_is_not_asked_for_where_the_sheet_names_none():
    """A single reading across a tube; where another row of the figure names its direction it is asked."""
    head = "Slide card\nSerial;QB-2400\nModel;alder\nDate;12.06.2026\n\n"
    plain = f"{head}Leg;Station;Outer bore\nupper;mouth;14,050\nlower;mouth;14,049"
    some = f"{head}Leg;Station;Direction;Outer bore\nupper;mouth;;14,050\nlower;mouth;0;14,049"
    assert len(accepted("plain", "seventh", plain)) == 2
    assert {places for *_, places, _ in accepted("some", "seventh", some)} == {
        frozenset({"leg=lower", "station=mouth", "direction=0"})
    }
