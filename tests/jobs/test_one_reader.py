"""The same rows in every layout a bench writes give the same answer in every command that takes a table."""

from __future__ import annotations

import csv
import io

import polars as pl
import pytest

NOTES = [
    (2, 1, "", -3.5, "AL"), (3, 1, "", 2.0, "AL"), (4, 1, "", -1.25, "AL"), (6, 1, "", 1.5, "AL"),
    (2, 1, "F", -12.0, "AL"), (3, 1, "F", -9.5, "AL"), (4, 1, "F", -14.5, "AL"), (6, 1, "F", -8.0, "AL"),
]  # fmt: skip
TUNE = ("--length-mm", "2944.9", "--valve", "F=986.1", "--reading-sd", "3")
TUBES = {"A1": (13.897, 13.893), "A2": (13.905, 13.899), "A3": (13.888, 13.884)}
BORES = {"B1": (14.052, 14.046), "B2": (14.058, 14.05), "B3": (14.043, 14.039)}
PAIR = ("--target-um", "150", "--lower-um", "100", "--upper-um", "200")
SPOTS = {"bell": (15.2, 14.0, 13.1), "bow": (16.5, 15.0, 12.4), "tuning slide": (14.1, 13.7, 15.9)}
COAT = ("--nominal", "14", "--lower", "10")
DRAWS = [(10, 14.602), (60, 14.6031), (110, 14.6038), (160, 14.6052), (210, 14.606), (260, 14.6069)]
WEAR = ("--value", "od", "--against", "draws", "--tool", "die", "--upper", "14.612")
TRIAL = {
    ("P1", "AL"): (14.051, 14.053), ("P1", "BM"): (14.054, 14.055), ("P2", "AL"): (14.081, 14.079),
    ("P2", "BM"): (14.083, 14.084), ("P3", "AL"): (14.021, 14.022), ("P3", "BM"): (14.023, 14.026),
}  # fmt: skip
GAUGE = ("--value", "bore", "--part", "part", "--person", "person", "--lower", "13.9", "--upper", "14.2")


def comma(value):
    """Write a figure as a bench does: decimal comma and a printed minus."""
    return str(value).replace(".", ",").replace("-", "\u2212")


def lines(*rows):
    """Write a csv of semicolons."""
    out = io.StringIO()
    csv.writer(out, delimiter=";", lineterminator="\n").writerows(rows)
    return out.getvalue()


def tuning_layouts():
    """One note set: plain, with a head, in German, wide, transposed, a head in one line."""
    plain = lines(("partial", "position", "valve", "cents", "tester"), *NOTES)
    head = [("Tuning card",), ("Serial R1001",), ("Date 23.11.2026",), ("Tester AL",), ("Temp 20,0",), ()]
    body = [(n, p, v or "open", comma(c)) for n, p, v, c, _ in NOTES]
    yield plain
    yield lines(*head, ("Partial", "Pos.", "Valve", "Cents"), *body)
    yield lines(
        ("Seriennummer", "R1001"), ("Datum", "23.11.2026"), ("Prüfer", "AL"), ("Raum", "20 C"), (),
        ("Naturton", "Zuglage", "Ventil", "Abweichung [cent]"), *body,
    )  # fmt: skip
    wide = {}
    for n, _, v, c, _ in NOTES:
        wide.setdefault(v, {})[n] = comma(c)
    yield lines(
        *head, ("Valve", *(f"Partial {n}" for n in (2, 3, 4, 6))),
        *((v or "open", *row.values()) for v, row in wide.items()),
    )  # fmt: skip
    labels = "Serial", "Partial", "Position", "Valve", "Cents", "Person"
    notes = (("R1001", n, p, v or "open", comma(c), w) for n, p, v, c, w in NOTES)
    yield lines(*zip(labels, *notes, strict=True))
    headings = "Weight g", "Harmonic", "Pos", "Valve", "Cents"
    yield lines(("R1001", "Mon 23.11.2026"), ("Tester: AL",), (), headings, *(("812", *row) for row in body))


def rack_layouts(tubes, column, figure):
    """One side of a rack: plain, a slide card, bare words, wide by place, wide with a head."""
    yield lines(
        ("tube", "station", "direction", column),
        *((t, "middle", d, x) for t, xs in tubes.items() for d, x in zip((0, 90), xs, strict=True)),
    )
    long = [(t, "middle", d, comma(x)) for t, xs in tubes.items() for d, x in zip((0, 90), xs, strict=True)]
    yield lines(
        ("Slide card",), ("Date: 23.11.2026",), (), ("Serial", "Station", "Dir", f"{figure} [mm]"), *long
    )
    bare = "OD mm" if column == "od_mm" else "Bore mm"
    yield lines(("Tube", "Stelle", "Winkel", bare), *long)
    yield lines(("Tube", "middle 0°", "middle 90°"), *((t, *map(comma, xs)) for t, xs in tubes.items()))
    yield lines(
        ("Rack",), ("By AL",), (), ("Serial No.", f"{figure} middle 0", f"{figure} middle 90"),
        *((t, *map(comma, xs)) for t, xs in tubes.items()),
    )  # fmt: skip


def coat_layouts():
    """One lacquer card: plain, with a head, spots in columns, areas in columns, readings in columns."""
    long = [(a, n, x) for a, xs in SPOTS.items() for n, x in enumerate(xs, 1)]
    typed = [(a, n, comma(x)) for a, n, x in long]
    yield lines(("area", "spot", "um", "serial"), *((*row, "R1001") for row in long))
    yield lines(("Lacquer card",), ("Serial R1001",), (), ("Area", "Spot", "Thickness [µm]"), *typed)
    yield lines(
        ("Serial", "R1001"), (), ("Area", "1", "2", "3"), *((a, *map(comma, xs)) for a, xs in SPOTS.items())
    )
    yield lines(
        ("Serial", "R1001"), (), ("Spot", *SPOTS),
        *((n + 1, *(comma(xs[n]) for xs in SPOTS.values())) for n in range(3)),
    )  # fmt: skip
    yield lines(("Serial", "Bereich", "Punkt", "R1", "R2", "Mean"),
                *(("R1001", a, n, x, x, "99") for a, n, x in typed))  # fmt: skip


def wear_layouts():
    """One die: plain, with a head, two figures a piece whose mean counts, across, in German."""
    typed = [(f"T{n}", d, comma(x)) for n, (d, x) in enumerate(DRAWS)]
    yield lines(("draws", "od", "die"), *((d, x, "D7") for d, x in DRAWS))
    yield lines(("Drawing log",), ("Die D7",), ("Date 23.11.2026",), (), ("Tube", "Draws", "OD [mm]"), *typed)
    yield lines(
        ("Die", "D7"), (), ("Tube", "Draws", "OD mouth", "OD crook"), *((t, d, x, x) for t, d, x in typed)
    )
    yield lines(*zip(("Serial", "Draws", "OD", "Die"), *((*row, "D7") for row in typed), strict=True))
    yield lines(
        ("Werkzeug: D7",), (), ("Stück", "Draw count", "OD mm", "Bemerkung"), *((*row, "") for row in typed)
    )


def gauge_layouts():
    """One gauge study: plain, with a head, trials across, persons and trials across, a band of persons."""
    rows = [(p, w, x) for (p, w), xs in TRIAL.items() for x in xs]
    people, parts = ("AL", "BM"), ("P1", "P2", "P3")
    yield lines(("part", "person", "bore"), *rows)
    yield lines(("Gauge study",), ("Date 23.11.2026",), (), ("Part", "By", "Bore [mm]"),
                *((p, w, comma(x)) for p, w, x in rows))  # fmt: skip
    yield lines(("Part", "Person", "Trial 1", "Trial 2"),
                *((p, w, *map(comma, xs)) for (p, w), xs in TRIAL.items()))  # fmt: skip
    crossed = [(p, *(comma(x) for w in people for x in TRIAL[p, w])) for p in parts]
    yield lines(("Part", "AL 1", "AL 2", "BM 1", "BM 2"), *crossed)
    yield lines(
        ("Bore gauge, November",), (), ("", "AL", "", "BM", ""), ("Part", "1", "2", "1", "2"), *crossed
    )


def answers(command, layouts, ask, write):
    """Give the answer to each layout, without what says where its figures came from."""
    for number, text in enumerate(layouts):
        found = ask(command, write(f"{command}{number}.csv", text))
        found.pop("taken", None)
        yield found


@pytest.fixture
def ask(command):
    """Ask a command for its JSON."""
    import json

    def call(verb, path, *more):
        options = {"tune": TUNE, "coat": COAT, "wear": WEAR, "gauge": GAUGE}[verb]
        found = command(verb, path, *options, *more, "--json")
        assert found.exit_code == 0, found.stderr
        return json.loads(found.stdout)

    return call


@pytest.fixture
def write(tmp_path):
    """Write a sheet."""

    def put(name, text):
        (tmp_path / name).write_text(text, "utf-8")
        return tmp_path / name

    return put


@pytest.mark.parametrize(
    "verb, layouts",
    [("tune", tuning_layouts), ("coat", coat_layouts), ("wear", wear_layouts), ("gauge", gauge_layouts)],
)
def test_every_layout_gives_the_same_answer(verb, layouts, ask, write):
    first, *others = answers(verb, layouts(), ask, write)
    assert len(others) >= 4
    for number, other in enumerate(others, 2):
        for name in first:
            assert (
                other[name] == pytest.approx(first[name])
                if isinstance(first[name], float)
                else (_close(other[name], first[name]))
            ), f"layout {number}: {name}"


def _close(one, other):
    """Compare answers figure by figure; a mean of two equal readings may differ in its last bit."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_close(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_close, one, other))
    if isinstance(one, float) or isinstance(other, float):
        return one == pytest.approx(other)
    return one == other


def test_every_layout_of_a_rack_is_paired_alike(command, write):
    import json

    found = []
    inners, outers = rack_layouts(TUBES, "od_mm", "Inner OD"), rack_layouts(BORES, "id_mm", "Outer bore")
    for number, (inner, outer) in enumerate(zip(inners, outers, strict=True)):
        files = "--inner", write(f"in{number}.csv", inner), "--outer", write(f"out{number}.csv", outer)
        said = command("pair", *files, *PAIR, "--json")
        assert said.exit_code == 0, said.stderr
        found.append(json.loads(said.stdout))
        found[-1].pop("taken", None)
    assert len(found) == 5 and all(other == found[0] for other in found)


def test_every_layout_gives_one_study(command, write):
    import json

    found = []
    for number, text in enumerate(wear_layouts()):
        said = command("study", write(f"s{number}.csv", text), "--value", "od", "--signals-only", "--json")
        assert said.exit_code == 0, said.stderr
        found.append(json.loads(said.stdout)["chart"])
    assert found[1] == found[0] == found[3] == found[4]


def test_a_workbook_and_frames_are_read_as_their_csv(command, write, tmp_path):
    import json

    import pandas as pd
    import xlsxwriter

    import qc

    text = list(tuning_layouts())[1]
    rows = list(csv.reader(io.StringIO(text), delimiter=";"))
    path = tmp_path / "card.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("Card")
        sheet.merge_range(0, 0, 0, 3, rows[0][0])
        for number, row in enumerate(rows[1:], 1):
            sheet.write_row(number, 0, row)
    tenor = qc.Instrument(2944.9, (qc.Valve("F", 986.1),))
    width = max(map(len, rows))
    padded = [row + [""] * (width - len(row)) for row in rows]
    sources = [
        write("card.csv", text), path, pd.DataFrame(padded),
        pl.DataFrame(padded, schema=[f"column_{n}" for n in range(1, width + 1)], orient="row"),
    ]  # fmt: skip
    found = [qc.tune(source, tenor, reading_sd=3).to_dict() for source in sources]
    taken = [answer.pop("taken") for answer in found]
    assert all(answer == found[0] for answer in found)
    assert "tab Card" in taken[1][0] and "B" not in taken[0][0].split("serial")[0]
    assert json.dumps(found[0])


PLAN = """
workshop: {name: Small shop, reference_temperature_c: 20, a4_hz: 440}
models:
  - {id: tenor, name: Tenor, family: tenor, pedal_midi: 34, length_mm: 2944.9,
     valves: [{name: F, added_mm: 986.1}]}
  - {id: alto, name: Alto, family: alto, pedal_midi: 39, length_mm: 2206.0}
stages:
  - id: draw
    name: Draw
    characteristics:
      - {id: od, name: Tube OD, unit: mm, wears_with: die, resolution: 0.001,
         limits: [{models: [tenor], upper: 14.612}, {models: [alto], upper: 13.612}]}
  - id: slide
    name: Slide
    characteristics:
      - {id: clearance, name: Clearance, unit: um, limits: [{target: 150, lower: 100, upper: 200}]}
  - id: lacquer
    name: Lacquer
    characteristics:
      - {id: thickness, name: Thickness, unit: um, limits: [{target: 14, lower: 10}]}
tools: [{id: D7, name: Die seven, tool_class: die}]
"""


@pytest.fixture
def planned(tmp_path):
    """Make a workshop with a small plan."""
    folder = tmp_path / "shop"
    folder.mkdir()
    (folder / "plan.yaml").write_text(PLAN, "utf-8")
    return folder


@pytest.mark.parametrize(
    "verb, layouts, options, more",
    [
        ("tune", tuning_layouts, TUNE, ("--reading-sd", "3")),
        ("coat", coat_layouts, COAT, ()),
        ("wear", wear_layouts, WEAR, ("--tool", "die")),
    ],
)
def test_a_plan_gives_what_no_option_says_and_the_answer_says_so(
    verb, layouts, options, more, command, write, planned
):
    import json

    text = list(layouts())[1]
    title, _, rest = text.partition("\n")
    card = write("card.csv", f"{title}\nModel;tenor\n{rest}")
    asked = command(verb, card, *options, "--json")
    filled = command(verb, card, *more, "--workshop", planned, "--json")
    assert asked.exit_code == filled.exit_code == 0, filled.stderr
    by_option, by_plan = json.loads(asked.stdout), json.loads(filled.stdout)
    taken = by_plan.pop("taken")
    assert any(str(planned) in line for line in taken)
    by_option.pop("taken")
    if verb == "wear":
        for tool in (*by_option["tools"], *by_plan["tools"]):
            tool.pop("tool")
    assert by_plan == by_option
    told = command(verb, card, *more, "--workshop", planned)
    assert f"From the plan of {planned}" in told.stdout


def test_options_win_over_the_plan(command, write, planned):
    import json

    card = write("card.csv", "Model;tenor\n" + list(wear_layouts())[1].partition("\n")[2])
    found = command("wear", card, "--upper", "14.65", "--workshop", planned, "--json")
    assert json.loads(found.stdout)["tools"][0]["limit"] == 14.65


def test_limits_of_several_models_are_not_guessed(command, write, planned):
    card = write("card.csv", list(wear_layouts())[1])
    found = command("wear", card, "--workshop", planned)
    assert found.exit_code == 1 and "Write Model above the table (tenor, alto)" in found.stderr


def test_a_pair_and_a_gauge_take_limits_from_the_plan(command, write, planned):
    import json

    inner, outer = (
        list(rack_layouts(TUBES, "od_mm", "Inner OD"))[1],
        list(rack_layouts(BORES, "id_mm", "Outer bore"))[1],
    )
    files = "--inner", write("in.csv", inner), "--outer", write("out.csv", outer)
    asked, filled = (
        command("pair", *files, *PAIR, "--json"),
        command("pair", *files, "--workshop", planned, "--json"),
    )
    assert json.loads(filled.stdout)["pairs"] == json.loads(asked.stdout)["pairs"]
    trial = write("g.csv", "Model;tenor\n\n" + list(gauge_layouts())[3].replace("14,", "14,5"))
    found = command(
        "gauge",
        trial,
        "--value",
        "od",
        "--part",
        "part",
        "--person",
        "person",
        "--workshop",
        planned,
        "--json",
    )
    assert found.exit_code == 0, found.stderr
    assert json.loads(found.stdout)["taken"][-1].endswith("step 0.001 mm of Tube OD")


@pytest.mark.parametrize("verb, own, allowed", [
    ("tune", TUNE, "Partial, Position, Valve, Cents or Hz"), ("coat", COAT, "Area, Spot, Thickness"),
    ("wear", WEAR, "od, draws, die"), ("gauge", GAUGE, "bore, part, person"),
])  # fmt: skip
def test_a_card_without_the_figure_is_refused_with_the_headings_that_are_allowed(
    verb, own, allowed, command, write
):
    card = write("odd.csv", "Notes of Monday\n\nSerial;Colour;Weight\nR1001;red;12\nR1002;blue;13\n")
    found = command(verb, card, *own)
    assert found.exit_code == 1 and found.stdout == ""
    assert "odd.csv" in found.stderr and allowed in found.stderr and "Colour" in found.stderr


def test_a_bad_cell_of_a_card_is_told_where_it_was_typed(command, write):
    text = list(tuning_layouts())[3].replace("2,0", "sharp")
    found = command("tune", write("wide.csv", text), *TUNE)
    assert (
        found.exit_code == 1 and "wide.csv, line 8, Partial 3" in found.stderr and "'sharp'" in found.stderr
    )


def test_notes_of_two_instruments_are_not_mixed(command, write):
    text = "Serial;Partial;Position;Valve;Cents\nR1;2;1;open;-3,5\nR2;2;1;open;2\n"
    found = command("tune", write("two.csv", text), *TUNE)
    assert found.exit_code == 1 and "2 instruments (R1, R2)" in found.stderr
