"""The same readings where headings stand in several lines, down instead of across, or in the cells."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.plan import PLACE, load_plan

PLAN = load_plan((Path(__file__).parents[2] / "strangers" / "third" / "plan.yaml").read_text("utf-8"))

HEAD = "Leadpipe card\nDate;10.09.2026\nPerson;KO\n"
BORES = {
    ("RO-431", "rowan", "pipe_bore", "station=entry", 12.41),
    ("RO-431", "rowan", "pipe_bore", "station=throat", 11.6),
    ("RO-431", "rowan", "pipe_bore", "station=end", 13.0),
    ("RO-431", "rowan", "pipe_length", "", 238.1),
}
FIT = {
    ("RO-428", "rowan", name, f"leg={leg} station={station}{surface}", value)
    for name, surface, first in (("inner_od", " surface=stocking", 13.881), ("outer_bore", "", 14.041))
    for n, (leg, station) in enumerate(
        (leg, station) for leg in ("upper", "lower") for station in ("mouth", "middle", "crook")
    )
    for value in (round(first + n / 1000, 3),)
}
FIT_HEAD = "Slide fitting card\nSerial;RO-428\nModel;rowan\nDate;10.09.2026\nPerson;VR\n\n"
SIX = "mouth;middle;crook;mouth;middle;crook\n"
INNER, OUTER = "13.881;13.882;13.883;13.884;13.885;13.886", "14.041;14.042;14.043;14.044;14.045;14.046"
COATS = {("RO-424", "rowan", "thickness", f"area={a} spot={s}", v) for a, s, v in
         (("flare", 1, 14.1), ("flare", 2, 14.2), ("stem", 1, 15.1), ("stem", 2, 15.2))}  # fmt: skip
COAT_HEAD = "Coat card\nSerial;RO-424\nModel;rowan\nDate;10.09.2026\nPerson;KO\n\n"


def read(text: str) -> set[tuple[str, str, str, str, float]]:
    """The readings of one csv sheet: piece, model, figure, places and value."""
    rows = unfold(read_sheet(text.encode(), "card.csv")[0], PLAN).readings.to_dicts()
    assert {str(row["day"]) for row in rows} == {"2026-09-10"}
    return {
        (
            row["serial"],
            row["model"],
            row["characteristic"],
            " ".join(f"{place}={row[place]}" for place in PLACE if row[place] not in (None, "")),
            round(row["value"], 6),
        )
        for row in rows
        if row["value"] is not None
    }


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        pytest.param(
            HEAD + "Bore\nSerial;Model;entry;throat;end;Length\nRO-431;rowan;12.41;11.60;13.00;238.1\n",
            BORES,
            id="the figure alone above",
        ),
        pytest.param(
            HEAD
            + "\n;;Bore;;;Length\nSerial;Model;entry;throat;end;\nRO-431;rowan;12.41;11.60;13.00;238.1\n",
            BORES,
            id="figures above places",
        ),
        pytest.param(
            HEAD + "\nSerial;Model;Bore;;;Length\n;;entry;throat;end;[mm]\n"
            "RO-431;rowan;12.41;11.60;13.00;238.1\n",
            BORES,
            id="places and units below",
        ),
        pytest.param(
            HEAD + "\nSerial;Model;Bore;;;Length\nRO-431;rowan;12.41;11.60;13.00;238.1\n",
            BORES,
            id="one heading over as many columns as places",
        ),
        pytest.param(
            HEAD + "\nSerial;Model;Bore entry/throat/end;Length\nRO-431;rowan;12.41/11.60/13.00;238.1\n",
            BORES,
            id="the places named over several figures in a cell",
        ),
        pytest.param(
            HEAD + "\n;RO-431\nModel;rowan\nBore;\nentry;12.41\nthroat;11.60\nend;13.00\nLength;238.1\n",
            BORES,
            id="the piece across, its places below the figure",
        ),
        pytest.param(
            HEAD + "\nSerial;;RO-431\nModel;;rowan\nBore;entry;12.41\n;throat;11.60\n;end;13.00\n"
            "Length;;238.1\n",
            BORES,
            id="two columns of labels",
        ),
        pytest.param(
            "Leadpipe card   RO-431   rowan   10.9.2026   KO\nBore entry: 12.41 mm\nBore throat: 11.60 mm\n"
            "Bore end: 13.00 mm\nLength: 238.1 mm\n",
            BORES,
            id="a line a figure",
        ),
        pytest.param(
            HEAD
            + "\nPiece;RO-431 rowan\nBore entry;12.41\nBore throat;11.60\nBore end;13.00\nLength;238.1\n",
            BORES,
            id="piece and model in one cell",
        ),
        pytest.param(
            FIT_HEAD + f";;upper;;;lower;;\nTube;;{SIX}Inner OD;stocking;{INNER}\nOuter bore;;{OUTER}\n",
            FIT,
            id="tubes down, legs above stations",
        ),
        pytest.param(
            FIT_HEAD + ";U mouth;U middle;U crook;L mouth;L middle;L crook\n"
            f"Inner OD stocking;{INNER}\nOuter bore;{OUTER}\n",
            FIT,
            id="no heading over the tubes",
        ),
        pytest.param(
            "Slide fitting card\nDate;10.09.2026\n\n;;Inner OD stocking;;;;;;Outer bore;;;;;\n"
            ";;upper;;;lower;;;upper;;;lower;;\n"
            f"Serial;Model;{SIX.strip()};{SIX}RO-428;rowan;{INNER};{OUTER}\n",
            FIT,
            id="three lines of headings",
        ),
        pytest.param(
            COAT_HEAD + "Flare\nSpot;Thickness\n1;14.1\n2;14.2\n\nStem\nSpot;Thickness\n1;15.1\n2;15.2\n",
            COATS,
            id="a place above each small table",
        ),
        pytest.param(
            COAT_HEAD + "Spot;Coat thickness\nflare\n1;14.1\n2;14.2\nstem\n1;15.1\n2;15.2\n",
            COATS,
            id="a place in a line among the rows",
        ),
    ],
)
def test_the_same_readings_come_of_headings_in_any_lines(text, meant):
    assert read(text) == meant


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        pytest.param("0.423/0.415/0.417", "3 figures, and the heading Wall 1-4 names 4 places", id="three"),
        pytest.param("0.423", "one figure, and the heading Wall 1-4 names 4 places", id="one"),
    ],
)
def test_a_heading_of_several_places_wants_as_many_figures(figures, said):
    text = f"Bell card\nDate;10.09.2026\n\nSerial;Model;Wall 1-4\nRO-431;rowan;{figures}\n"
    with pytest.raises(SheetError, match=said):
        read(text)


def test_a_cell_of_too_few_figures_is_asked_about_and_the_other_figures_go_in():
    text = "Bell card\nDate;10.09.2026\n\nSerial;Model;Wall 1-4;Flare width\nRO-431;rowan;0.42/0.41;214.1\n"
    (one,) = check(
        [unfold(grid, PLAN) for grid in read_sheet(text.encode("utf-8"), "own.csv")],
        PLAN,
        Known(today=date(2026, 9, 11)),
    )
    assert (one.readings["value"].to_list(), one.rows) == ([214.1], 2)
    assert "2 figures, and the heading Wall 1-4 names 4 places" in one.held["reasons"][0]


def test_two_small_numbers_beside_a_figure_are_readings_and_no_places():
    found = read(
        "Finish card\n\nSerial;RO-424;HZ-063\nModel;rowan;hazel\nDate;10.09.2026;10.09.2026\nDust nibs;1;4\n"
    )
    assert {(row[0], row[4]) for row in found} == {("RO-424", 1.0), ("HZ-063", 4.0)}


@pytest.mark.parametrize(("model", "throat", "held"), [("rowan", 11.60, 0), ("hazel", 12.20, 1)])
def test_a_figure_is_another_models_by_the_limits_of_its_place(model, throat, held):
    entry, end = (12.41, 13.00) if model == "rowan" else (11.70, 12.30)
    text = f"{HEAD}\nSerial;Model;Bore entry;Bore throat;Bore end\nRO-431;{model};{entry};{throat};{end}\n"
    part = unfold(read_sheet(text.encode(), "card.csv")[0], PLAN)
    assert check([part], PLAN, Known(today=date(2026, 9, 12)))[0].held.height == held
