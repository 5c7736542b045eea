"""A bench's own headings: all unknown ones are asked about at once, and a confirmed answer reads them."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.ingest import (
    BESIDE,
    CardMapping,
    HeadingsUnknown,
    MappingError,
    Mappings,
    SheetError,
    date_question,
    mappings_text,
    proposal_text,
    read_mapping,
    read_sheet,
    unfold,
)
from qc.plan import Tool, load_plan

PLAN = load_plan(Path(__file__).parents[2] / "strangers" / "sheets" / "plan.yaml")
ANSWER = """\
card: joint-card
columns:
  Gemessen: Date
  Durchgang: Leak
  Anzugswert: Ferrule torque
  Ofen: keep beside
dates: day-first
"""
NOTEBOOK = """\
Joint card

Gemessen;Stück;Modell;Durchgang;Anzugswert;Ofen;Laune
10/11/2026;KT26-29;tenor;1,8;2,4;311;wet
12/11/2026;KT26-30;tenor;1,9;2,3;312;dry
"""


def read(text, mappings=None, plan=PLAN):
    """Unfold one csv sheet."""
    return unfold(read_sheet(text.encode(), "notebook.csv")[0], plan, mappings)


def asked(text):
    """Return the question that a refused sheet carries."""
    with pytest.raises(HeadingsUnknown) as caught:
        read(text)
    return caught.value


def rows(part):
    """Return what was read, without where it was typed and what else stands in its row."""
    return part.readings.select("serial", "model", "day", "characteristic", "value").rows()


def answered(text=ANSWER):
    return Mappings(given=read_mapping(text, "m.yaml", PLAN))


def test_a_refusal_names_all_unknown_headings_the_fixed_ones_and_the_way_on():
    said = str(asked(NOTEBOOK))
    assert "no columns Gemessen, Durchgang, Anzugswert, Ofen and Laune" in said
    assert "Leak, Ferrule torque" in said and "Serial, Model, Date, Person" in said
    assert "`qc upload notebook.csv --propose-mapping`" in said


def test_a_sheet_without_a_card_is_asked_which_it_is_with_the_figures_of_all():
    refusal = asked(NOTEBOOK.partition("\n\n")[2])
    assert "fit none" in str(refusal) and "Serial, Model, Date, Person" in str(refusal)
    question = refusal.question
    assert len(question.cards) == len(PLAN.cards)
    leak = next(column for column in question.columns if column.typed == "Durchgang")
    assert {"Leak", "Rim diameter", BESIDE} <= set(leak.allowed)


def test_what_the_cells_say_is_guessed_and_a_figure_is_left_to_the_bench():
    text = "Joint card\n\nWann;Was;Wer;Art;Wert A\n10/11/2026;KT26-29;ML;tenor;1,8\n"
    guesses = {column.typed: column.guess for column in asked(text).question.columns}
    assert guesses == {"Wann": "Date", "Was": "Serial", "Wer": "Person", "Art": "Model", "Wert A": ""}


def slide_card(*headings):
    """Return a slide card with its head in one line, as on paper, and columns a bench named itself."""
    head = f"Slide card\n\nSerial;TH-1;Date;2026-05-12;Who;AB\n\nLeg;Station;{';'.join(headings)}\n"
    return head + "upper;mouth;14.052;14.046;13.897;13.892\nlower;mouth;14.053;14.048;13.896;13.893\n"


def test_labels_and_values_along_one_line_are_read_by_pairs(plan):
    text = slide_card("Outer bore 0", "Outer bore 90", "Stocking 0", "Stocking 90")
    for who in ("Who", "Sprayed"):
        found = read(text.replace("Who", who), plan=plan).readings
        assert found.select("serial", "day", "person").unique().rows() == [("TH-1", date(2026, 5, 12), "AB")]


@pytest.mark.parametrize(
    "headings",
    [
        ("0 deg mantle", "90 deg mantle", "Stocking 0°", "Stocking 90°"),
        ("Mantle 0°", "Mantle 90°", "Stocking 0°", "Stocking 90°"),
    ],
)
def test_unknown_headings_behind_leg_and_station_are_asked_for_and_answered(plan, headings):
    part = read(slide_card(*headings), plan=plan)
    held = part.readings.filter(part.readings["hint"].str.starts_with("asked="))
    assert (part.readings.height, held.height) == (8, 4)  # the stockings are read, the mantles wait
    asked_for = [column.typed for column in part.question.columns]
    assert asked_for == [text for text in headings if not text.startswith("Stocking")]
    assert "Outer bore 0" in part.question.columns[0].allowed
    meant = dict(zip(headings, ("Outer bore 0", "Outer bore 90", "Stocking 0", "Stocking 90"), strict=True))
    lines = "".join(f"  {typed}: {meant[typed]}\n" for typed in asked_for)
    mapping = read_mapping(f"card: slide-card\ncolumns:\n{lines}", "m.yaml", plan)
    assert read(slide_card(*headings), Mappings(given=mapping), plan).readings.height == 8


def test_codes_of_the_plan_are_never_guessed_to_be_a_remark():
    tool, gauge = "BR-2", PLAN.gauges[0].id
    plan = PLAN.model_copy(update={"tools": (Tool(id=tool, name="Brazing jig", tool_class="jig"),)})
    text = (
        "Joint card\n\nSerial;Date;Wer;Womit;Mic;Sonst;Wert A\n"
        f"KT26-29;24.11.2026;ML;{tool};{gauge};{gauge};1,8\nKT26-30;24.11.2026;Pip;{tool};;warm;1,9\n"
        "KT26-31;24.11.2026;ML;;;cold;1,9\n"
    )
    with pytest.raises(HeadingsUnknown) as refused:
        read(text, plan=plan)
    guesses = {column.typed: column.guess for column in refused.value.question.columns}
    assert guesses == {
        "Wer": "Person", "Womit": "Tool", "Mic": "Gauge", "Sonst": BESIDE, "Wert A": "",
    }  # fmt: skip


def test_the_nearest_heading_stands_first_and_one_that_is_there_already_last_but_beside():
    question = asked("Joint card\n\nSerial;Date;Leek;Remrk\nKT26-29;24.11.2026;1,8;as new\n").question
    leek, remark = question.columns
    assert (leek.guess, leek.allowed[0], leek.allowed[-1]) == ("Leak", "Leak", BESIDE)
    assert remark.guess == "Note"
    assert leek.allowed.index("Serial") > leek.allowed.index("Ferrule torque")


def test_the_proposal_is_a_mapping_to_edit_with_both_days_of_an_open_date():
    text = proposal_text([asked(NOTEBOOK).question])
    told = yaml.safe_load(text)
    assert told["card"] == "joint-card" and told["dates"] is None
    assert told["columns"] == {
        "Gemessen": "Date", "Durchgang": None, "Anzugswert": None, "Ofen": None, "Laune": BESIDE,
    }  # fmt: skip
    assert "day-first: 10 Nov 2026" in text and "month-first: 11 Oct 2026" in text
    with pytest.raises(MappingError, match="3 faults"):
        read_mapping(text, "m.yaml", PLAN)


def test_a_mapping_reads_the_sheet_and_every_reading_keeps_its_own_cell():
    part = read(NOTEBOOK, answered())
    assert [(row[0], str(row[2]), *row[3:]) for row in rows(part)] == [
        ("KT26-29", "2026-11-10", "leak", 1.8), ("KT26-29", "2026-11-10", "torque", 2.4),
        ("KT26-30", "2026-11-12", "leak", 1.9), ("KT26-30", "2026-11-12", "torque", 2.3),
    ]  # fmt: skip
    assert part.readings["cell"][0] == "line 4, Durchgang"
    assert part.readings["note"][0] == "Ofen: 311; Laune: wet"
    assert part.read_as[0].beside == ("Laune",)


def test_a_remembered_line_is_read_silently_and_another_line_asks():
    (confirmed,) = [read.confirmed() for read in read(NOTEBOOK, answered()).read_as]
    text = mappings_text([confirmed])
    assert read_mapping(text, "mappings.yaml", PLAN, strict=False) == (confirmed,)
    remembered = Mappings(remembered=(confirmed,))
    bare = NOTEBOOK.partition("\n\n")[2]  # the card too is remembered
    assert rows(read(bare, remembered)) == rows(read(NOTEBOOK, answered()))
    with pytest.raises(HeadingsUnknown):
        read(NOTEBOOK.replace("Ofen", "Lampe"), remembered)


def test_a_line_of_two_cards_is_not_guessed_at():
    line = ("Tag", "Nummer", "Wert A")
    both = tuple(CardMapping(card, (("Wert A", "Note"),), "", line) for card in ("joint-card", "rim-card"))
    assert Mappings(both).of(line) is None
    assert Mappings(both).of(line, "rim-card") == both[1]


def test_what_is_handed_in_adds_to_what_is_remembered():
    (confirmed,) = [read.confirmed() for read in read(NOTEBOOK, answered()).read_as]
    later = CardMapping("joint-card", (), "month-first")
    part = read(NOTEBOOK, Mappings((confirmed,), (later,)))
    assert str(part.readings["day"][0]) == "2026-10-11"
    assert rows(part)[0][3:] == ("leak", 1.8)


def test_the_unit_a_heading_was_typed_with_still_counts():
    text = "Rim card\n\nDate;Serial;Rand [in]\n24.11.2026;KT26-29;8,03\n"
    mapping = "card: rim-card\ncolumns: {'Rand [in]': Rim diameter}\n"
    assert read(text, answered(mapping)).readings["value"][0] == pytest.approx(203.962)
    strange = text.replace("[in]", "[zoll]")
    with pytest.raises(SheetError, match="unknown unit"):
        read(strange, answered(mapping.replace("[in]", "[zoll]")))
    named = "card: rim-card\ncolumns: {'Rand [zoll]': 'Rim diameter [in]'}\n"
    assert read(strange, answered(named)).readings["value"][0] == pytest.approx(203.962)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        pytest.param("card: jiont\n", ["names jiont", "joint-card"], id="card"),
        pytest.param("columns: {A: Leak}\n", ["card: is missing", "joint-card"], id="no card"),
        pytest.param(
            "card: joint-card\ncolumns: {A: Durchgng, B: Leak, C: Leak, D: }\ndates: us\nshop: 1\n",
            ["no column Durchgng", "C: means Leak, and so does B", "D: does not say", "says us", "shop"],
            id="all at once",
        ),
        pytest.param("card: joint-card\ncolumns: [A, B]\n", ["columns: is no list of headings"], id="list"),
        pytest.param("", ["is empty", "--propose-mapping"], id="empty"),
        pytest.param("card: [", ["cannot be read from here on"], id="no yaml"),
        pytest.param("mappings: 3\n", ["is no list"], id="several"),
    ],
)
def test_a_broken_mapping_is_refused_with_all_its_faults(text, said):
    with pytest.raises(MappingError) as caught:
        read_mapping(text, "m.yaml", PLAN)
    assert all(part in str(caught.value) for part in ["m.yaml", *said])


def test_a_plan_that_changed_asks_again_and_stops_nothing():
    gone = CardMapping("old-card", (("Gemessen", "Date"),), "", ("Gemessen", "Stück"))
    text = mappings_text([gone])
    assert read_mapping(text, "mappings.yaml", PLAN, strict=False) == (gone,)
    with pytest.raises(HeadingsUnknown):
        read("Gemessen;Stück\n24.11.2026;KT26-29\n", Mappings((gone,)))


def test_dates_are_asked_about_where_all_headings_are_known():
    plain = "Joint card\n\nDate;Serial;Model;Leak\n10/11/2026;KT26-29;tenor;1,8\n"
    part = read(plain)
    question = date_question(part, PLAN)
    assert question is not None and question.headings == ("Date", "Serial", "Model", "Leak")
    answer = CardMapping(question.card, (), "month-first", question.headings)
    later = read(plain, Mappings((answer,)))
    assert str(later.readings["day"][0]) == "2026-10-11" and date_question(later, PLAN) is None
    assert date_question(read(plain.replace("10/11", "24/11")), PLAN) is None


def test_a_list_of_events_in_other_words_is_read_too():
    text = "Shipping list\n\nNummer;Raus\nKT26-29;10/11/2026\n"
    mapping = "card: shipping\ncolumns: {Nummer: Serial, Raus: Shipped}\ndates: day-first\n"
    event = read(text, answered(mapping)).events.to_dicts()[0]
    assert (event["kind"], event["serial"], str(event["day"])) == ("shipped", "KT26-29", "2026-11-10")


def test_pieces_across_are_read_through_a_mapping():
    text = "Joint card\n\nSerial;KT26-29;KT26-30\nDatum;24.11.2026;24.11.2026\nDurchgang;1,8;1,9\n"
    found = read(text, answered("card: joint-card\ncolumns: {Durchgang: Leak}\n"))
    assert [(row[0], row[4]) for row in rows(found)] == [("KT26-29", 1.8), ("KT26-30", 1.9)]


def test_figures_split_at_their_comma_are_joined_under_renamed_headings_too():
    text = "Joint card\n\nSerial,Datum,Durchgang,Note\nKT26-29,24.11.2026,1,8,fine\n"
    text += "KT26-30,24.11.2026,1,9,dull\n"
    part = read(text, answered("card: joint-card\ncolumns: {Durchgang: Leak}\n"))
    hints = part.readings.select("serial", "hint", "note", "column").rows()
    assert hints == [
        ("KT26-29", "joined=1.8", "fine; comma read as the decimal point", "Durchgang"),
        ("KT26-30", "joined=1.9", "dull; comma read as the decimal point", "Durchgang"),
    ]


LINES = [
    ("Date", "Serial", "Model", "Leak", "Torque"),
    ("Gemessen", "Nummer", "Art", "Durchgang", "Anzugswert"),
    ("Wann", "Nr. des Rohrs", "Bauform", "Undichte [cm3/min]", "Moment (Nm)"),
    ("d", "p", "m", "l", "t"),
    ("when: it was", "# piece", "- kind", "leak, as read", "yes"),
]
MEANT = ("Date", "Serial", "Model", "Leak", "Ferrule torque")
ROW = st.tuples(
    st.integers(1, 999), st.sampled_from(["tenor", "alto"]), st.integers(1, 400), st.integers(5, 90)
)


@settings(max_examples=30, deadline=None)
@given(st.lists(ROW, min_size=1, max_size=6, unique_by=lambda row: row[0]), st.permutations(range(5)))
def test_the_same_rows_under_any_heading_line_give_the_same_readings(figures, order):
    body = [
        ("24.11.2026", f"KT26-{number}", model, f"{leak / 10:.1f}", f"{torque / 10:.1f}")
        for number, model, leak, torque in figures
    ]
    found = []
    for line in LINES:
        table = [[row[column] for column in order] for row in (line, *body)]
        text = "Joint card\n\n" + "\n".join(";".join(row) for row in table) + "\n"
        given_in = CardMapping("joint-card", tuple(zip(line, MEANT, strict=True)))
        part = read(text, Mappings(given=(given_in,)) if line is not LINES[0] else None)
        found.append(sorted(rows(part)))
        confirmed = part.read_as[0].confirmed()
        if confirmed is not None:
            kept = read_mapping(mappings_text([confirmed]), "mappings.yaml", PLAN, strict=False)
            assert sorted(rows(read(text, Mappings(remembered=kept)))) == found[0]
    assert len(found[0]) == 2 * len(figures)
    assert all(other == found[0] for other in found[1:])


@pytest.mark.parametrize(
    "head", ["Datum;24.11.2026\nSeriennummer;KT26-29\n", "Datum 24.11.2026\nSeriennummer KT26-29\n"]
)
def test_german_words_are_read_over_a_column_and_in_the_head_alike(head):
    over = read("Joint card\n\nDatum;Seriennummer;Leak;Bemerkung\n24.11.2026;KT26-29;1,8;neu\n")
    above = read(f"Joint card\n{head}Bemerkung;neu\n\nModell;Leak\ntenor;1,8\n")
    for part in (over, above):
        row = part.readings.to_dicts()[0]
        assert (str(row["day"]), row["serial"], row["value"]) == ("2026-11-24", "KT26-29", 1.8)
        assert "neu" in row["note"]
