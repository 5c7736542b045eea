"""Make the workbooks among the third stranger's layouts; what must come of each stands in `layouts.yaml`.

python tests/strangers/third/make_sheets.py
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path

import xlsxwriter

LAYOUTS = Path(__file__).parent / "layouts"
Cell = str | int | float | date | None
WEDNESDAY, THURSDAY = date(2026, 9, 9), date(2026, 9, 10)


def save(name: str, tabs: Iterable[tuple[str, Sequence[Sequence[Cell]], Sequence[str]]]) -> None:
    """Save one workbook of tabs, each with its title, rows and merged cells."""
    book = xlsxwriter.Workbook(str(LAYOUTS / name))
    # A fixed day, so that the workbook says nothing about the day on which it was made.
    book.set_properties({"created": datetime(2026, 9, 18)})
    day = book.add_format({"num_format": "dd.mm.yyyy"})
    for title, rows, merged in tabs:
        sheet = book.add_worksheet(title)
        for cells in merged:
            sheet.merge_range(cells, "")
        for number, row in enumerate(rows):
            for column, cell in enumerate(row):
                if isinstance(cell, date):
                    sheet.write_datetime(number, column, cell, day)
                elif isinstance(cell, str):
                    sheet.write_string(number, column, cell)
                elif cell is not None:
                    sheet.write_number(number, column, cell)
    book.close()


def pipe_and_bell() -> None:
    """Make the sheets of the leadpipe and bell benches."""
    pipes: list[list[Cell]] = [
        [None, "Leadpipe card"],
        [],
        [None, "Serial", "Model", "Date", "Person", "Bore entry", "Bore throat", "Bore end", "Length"],
        [None, "RO-431", "rowan", WEDNESDAY, "KO", 12.41, 11.6, 13, 238.1],
        [None, "AD-139", "alder", THURSDAY, "KO", 12.92, 12.22, 13.63, 245],
    ]
    save("41-pipe-merged-title.xlsx", [("Pipes", pipes, ["B1:I1"])])
    bells: list[list[Cell]] = [["Bell card"], ["Serial", "Model", "Date", "Spot", "Stem wall [mm]"]]
    walls = {
        ("HZ-065", "hazel"): [0.423, 0.415, 0.417, 0.424],
        ("AD-138", "alder"): [0.562, 0.561, 0.56, 0.563],
    }
    for (serial, model), four in walls.items():
        for spot, wall in enumerate(four, 1):
            first: list[Cell] = [serial, model, THURSDAY] if spot == 1 else [None, None, None]
            bells.append([*first, spot, wall])
    merged = [f"{column}{top}:{column}{top + 3}" for column in "ABC" for top in (3, 7)]
    save("42-bell-merged-serial.xlsx", [("Walls", bells, merged)])


def slide_and_rotor() -> None:
    """Make the sheets of the slide and rotor benches."""
    glide: list[list[Cell]] = [
        ["Glide card"],
        ["Serial", "Model", "Date", "Person", "Breakaway force", "Running force"],
        ["HZ-064", "hazel", THURSDAY, "VR", 3.1, 1],
        ["RO-428", "rowan", THURSDAY, "VR", 2.7, 1.3],
    ]
    heads: list[Cell] = ["Serial", "Model", "Date", "Person", "End float [um]", "Throw [deg]"]
    rotor: list[list[Cell]] = [["Rotor card"], heads, ["RO-429", "rowan", WEDNESDAY, "VR", 15, 72.9]]
    save("43-two-benches.xlsx", [("Glide", glide, []), ("Rotor", rotor, [])])
    save(
        "49-rotor-with-hazel.xlsx",
        [
            (
                "Rotor",
                [
                    ["Rotor card"],
                    heads,
                    ["RO-429", "rowan", THURSDAY, "VR", 15, 72.9],
                    ["HZ-066", "hazel", THURSDAY, "VR", 25, 72.2],
                ],
                [],
            )
        ],
    )
    stations: list[Cell] = ["mouth", "middle", "crook"]
    fit: list[list[Cell]] = [
        ["Slide fitting card"],
        ["Serial", "Model", "Date", "Tube", "upper", None, None, "lower", None, None],
        [None, None, None, None, *stations, *stations],
        ["RO-428", "rowan", THURSDAY, "Inner OD stocking", 13.888, 13.887, 13.892, 13.89, 13.891, 13.887],
        ["RO-428", "rowan", THURSDAY, "Outer bore", 14.05, 14.047, 14.048, 14.048, 14.04, 14.047],
        ["AD-137", "alder", THURSDAY, "Inner OD stocking", 14.572, 14.569, 14.566, 14.569, 14.57, 14.575],
        ["AD-137", "alder", THURSDAY, "Outer bore", 14.712, 14.722, 14.717, 14.719, 14.718, 14.722],
    ]
    save("45-fit-legs-merged.xlsx", [("Fit", fit, ["E2:G2", "H2:J2"])])


def joints_and_notes() -> None:
    """Make the sheets of the joints and of the tester."""
    joints: list[list[Cell]] = [
        ["Joint card"],
        ["Serial", "Model", "Date", "Person", "Leak [cm3/min]"],
        ["AD-136", "alder", THURSDAY, "BT", 1.9],
        ["RO-427", "rowan", THURSDAY, "BT", 2.4],
    ]
    words: list[list[Cell]] = [
        ["How to read the rig"],
        ["Warm it up for half an hour."],
        ["Wait until the needle stands still."],
    ]
    save("44-joint-tab-of-words.xlsx", [("Leaks", joints, []), ("Read me", words, [])])
    days: list[list[Cell]] = [
        ["Joint card"],
        ["Serial", "Model", "Person", "Leak"],
        [WEDNESDAY],
        ["AD-136", "alder", "BT", 1.9],
        ["RO-427", "rowan", "BT", 2.4],
        [THURSDAY],
        ["HZ-064", "hazel", "BT", 1.4],
    ]
    save("50-joint-days-between.xlsx", [("Leaks", days, [])])
    notes: list[list[Cell]] = [
        ["Blowing card"],
        ["Serial", "AD-135"],
        ["Model", "alder"],
        ["Date", "10.09.2026"],
        ["Tester", "SW"],
        [],
        ["Partial", "Position", "Valve", "Cents"],
    ]
    blown = [
        ("2", "", "-9"),
        ("3", "", "-2"),
        ("4", "", "-5"),
        ("5", "", "-17"),
        ("6", "", "-1"),
        ("8", "", "-6"),
    ]
    notes += [
        [partial, "1", valve, cents] for partial, valve, cents in [*blown, ("3", "F", "-4"), ("4", "F", "-7")]
    ]
    save("48-blow-texts.xlsx", [("Notes", notes, [])])


def finish() -> None:
    """Make the sheets of the finishing bench."""
    coats: list[list[Cell]] = [
        ["Coat card"],
        ["Serial", "HZ-063"],
        ["Model", "hazel"],
        ["Date", THURSDAY],
        ["Person", "KO"],
        [],
        ["Area", "Spot", "Thickness", None, "Area", "Spot", "Thickness"],
        ["flare", 1, 15.5, None, "stem", 1, 14.7],
        ["flare", 2, 15.0, None, "stem", 2, 15.1],
        ["flare", 3, 15.8, None, "stem", 3, 12.9],
    ]
    save("46-coat-side-by-side.xlsx", [("Coat", coats, [])])
    looks: list[list[Cell]] = [
        ["Finish card"],
        [],
        ["Serial", "RO-424", "HZ-063"],
        ["Model", "rowan", "hazel"],
        ["Date", WEDNESDAY, THURSDAY],
        ["Person", "KO", "KO"],
        ["Gloss flare", 86, 83],
        ["Gloss stem", 85, 84],
        ["Gloss bow", 84, 82],
        ["Dust nibs", 1, 4],
    ]
    save("47-finish-pieces-across.xlsx", [("Finish", looks, [])])


def main() -> None:
    """Make all workbooks."""
    pipe_and_bell()
    slide_and_rotor()
    joints_and_notes()
    finish()


if __name__ == "__main__":
    main()
