"""Make the planted slips and the odd but true cards of `slips.txt` and `odd.txt`, and `mishaps.yaml`.

    python tests/strangers/third/make_slips.py

Each file is the next true card of a piece on record (or of the next piece to be laid down), with one slip
of the hand on it, or with true figures that lie where few do.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

import yaml
from make_record import COLUMNS, HERE, Piece, Row, card_text, pieces, rows_of

READING = {"Serial": "serial", "Model": "model", "Person": "person", "Date": "day", "Shipped": "day"}
PLACES = {"Station", "Spot", "Leg", "Surface", "Area", "Partial", "Position", "Valve"}
PIECES = {piece.serial: piece for piece in pieces()}
Planted = dict[str, object]


def lines_of(text: str) -> list[str]:
    """Return the lines of a table of cases."""
    return [line for line in (HERE / text).read_text("utf-8").splitlines() if not line.startswith("#")]


def drawn(text: str, card: str) -> tuple[Piece, list[Row]]:
    """Return a piece and the true rows of its card; a number behind the serial asks for another drawing."""
    serial, _, again = text.partition(":")
    return PIECES[serial], rows_of(PIECES[serial], card, int(again or 0))


def chosen(text: str, rows: list[Row]) -> list[int]:
    """Return the rows that a case speaks of."""
    return list(range(len(rows))) if text == "*" else [int(one) for one in text.split(",")]


def meant_as(column: str, text: str) -> object:
    """Return what was meant as a reading keeps it: a day, a number or a word."""
    if column in ("Date", "Shipped"):
        return datetime.strptime(text, "%d.%m.%Y").date()
    try:
        return float(text) if column not in READING else text
    except ValueError:
        return text


def planted(rows: list[int], column: str, typed: str, meant: object, mend: str) -> Planted:
    """Return one entry of a slip; the table of a card begins in line 4."""
    reading = "surface" if column == "Surface" else READING.get(column, "value")
    found: Planted = {"lines": [row + 4 for row in rows], "column": column, "typed": typed, "meant": meant}
    return found | {"mend": "ask" if mend == "ask" else {reading: meant}}


def plant(rows: list[Row], card: str, at: list[int], change: str, mend: str) -> list[Planted]:
    """Put one change on the rows and return what was planted."""
    if change.startswith("copy "):
        other = rows_of(PIECES[change[5:]], card)
        for one_row, source in zip(rows, other, strict=True):
            one_row.update({name: source[name] for name in COLUMNS[card] if name not in PLACES})
        return [planted(at, "all figures", f"those of {change[5:]}", "a measurement of its own", "ask")]
    if "<>" in change:
        one, two = change.split("<>")
        found = []
        for number in at:
            for name, other_name in ((one, two), (two, one)):
                meant = meant_as(name, rows[number][name])
                found.append(planted([number], name, rows[number][other_name], meant, mend))
            rows[number][one], rows[number][two] = rows[number][two], rows[number][one]
        return found
    if change == "Inner OD-0.1":
        for number in at:
            rows[number]["Inner OD"] = f"{float(rows[number]['Inner OD']) - 0.1:.3f}"
        return [planted(at, "Surface", "stocking", "body", mend)]
    column, _, typed = change.partition("=")
    meant = rows[at[0]][column]
    typed = meant + "0" if typed == "*0" else typed
    for number in at:
        rows[number][column] = typed
    return [planted(at, column, typed, meant_as(column, meant), mend)]


def make_slip(number: int, line: str) -> dict[str, object]:
    """Write one sheet with its slip and return its entry."""
    kind, card, serial, where, changes, mend, why, *seen = line.split(";")
    piece, rows = drawn(serial, card)
    true = [dict(row) for row in rows]
    at = chosen(where, rows)
    found = [one for change in changes.split("|") for one in plant(rows, card, at, change, mend)]
    if rows == true:
        raise ValueError(f"nothing is changed by {line}")
    name = f"slips/{number:03d}-{card}.csv"
    (HERE / "mishaps" / name).write_text(card_text(card, rows), "utf-8")
    case: dict[str, object] = {"file": name, "as_of": piece.days[card], "kind": kind, "detectable": not seen}
    return case | {"planted": found, "why": why}


def turn(rows: list[Row], card: str, change: str) -> None:
    """Make true rows odd."""
    figures = [name for name in COLUMNS[card] if name not in PLACES]
    if change in ("comma", "whole"):
        for row in rows:
            for name in figures:
                row[name] = row[name].replace(".", ",") if change == "comma" else f"{float(row[name]):.0f}"
        return
    if "@" not in change:
        column, _, text = change.partition("=")
        for row in rows:
            row[column] = text
        return
    column, _, rest = change.partition("@")
    cut = min(rest.find(sign) for sign in "=+-" if sign in rest)
    for at in chosen(rest[:cut], rows):
        old = rows[at][column]
        if rest[cut] == "=":
            rows[at][column] = rest[cut + 1 :]
        else:
            places = len(old.partition(".")[2])
            rows[at][column] = f"{float(old) + float(rest[cut:]):.{places}f}"


def make_odd(number: int, line: str) -> dict[str, object]:
    """Write one odd but true card and return its entry."""
    card, serials, changes, why, *late = line.split(";")
    both = [drawn(serial, card) for serial in serials.split("+")]
    rows = [row for _, some in both for row in some]
    for change in filter(None, changes.split("|")):
        turn(rows, card, change)
    day: date = max(piece.days[card] for piece, _ in both) + timedelta(days=int(late[0]) if late else 0)
    name = f"odd/{number:02d}-{card}.csv"
    (HERE / "mishaps" / name).write_text(card_text(card, rows), "utf-8")
    return {"file": name, "as_of": day, "rows": len(rows), "why": why}


def main() -> None:
    """Write all sheets and the list of what must become of them."""
    slips = [make_slip(number, line) for number, line in enumerate(lines_of("slips.txt"), 1)]
    odd = [make_odd(number, line) for number, line in enumerate(lines_of("odd.txt"), 1)]
    text = yaml.dump({"slips": slips, "odd": odd}, sort_keys=False, width=120, allow_unicode=True)
    (HERE / "mishaps.yaml").write_text((HERE / "mishaps-head.txt").read_text("utf-8") + text, "utf-8")


if __name__ == "__main__":
    main()
