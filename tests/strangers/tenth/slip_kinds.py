"""The kinds of slips and of odd but true cards that the tenth stranger plants."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from make_slips import FIGURES, MODELS, PLACES, SPREAD, VALVES, Maker, Piece, Row, card, centre, shown, spread

SINGLE = ["taper", "bell", "fit", "run", "rotor", "tune", "shine", "coat", "last"]
SEEN = 6.0
"""A figure so many standard deviations from where it belongs can be seen by somebody who knows the record."""


def number(text: str) -> float:
    return float(text.replace(",", "."))


def own(rows: list[Row], piece: Piece) -> list[Row]:
    return [r for r in rows if r["Serial"] == piece.serial]


def figure(m: Maker, stage: str, names: list[str] | None = None) -> tuple[Piece, list[Row], date, Row, str]:
    """Draw a sheet and choose a figure of it."""
    (piece, *_), rows, day = m.some(stage)
    mine = own(rows, piece)
    row = mine[int(m.rng.integers(len(mine)))]
    have = [n for n in (names or FIGURES[stage]) if n in SPREAD]
    return piece, rows, day, row, have[int(m.rng.integers(len(have)))]


def change(
    m: Maker, kind: str, stage: str, turn: Any, names: list[str] | None = None, sure: bool = True
) -> None:
    """Plant a changed figure; it can be seen by its size."""
    for _ in range(200):
        piece, rows, day, row, name = figure(m, stage, names)
        was = row[name]
        new = turn(was, m)
        if new is None or new == was:
            continue
        away = abs(number(new) - centre(name, piece, row)) / spread(name)
        if sure and away < SEEN:
            continue
        row[name] = new
        right = number(was)
        if kind == "inch for mm":  # what three digits of an inch say, and nobody knows better
            right = round(number(new) * 25.4, SPREAD[name][3])
        m.plant(kind, stage, rows, day, [([row], name, was, {"value": right})], seen=away >= SEEN)
        return


def times(factor: float) -> Any:
    def turn(text: str, m: Maker) -> str:
        digits = len(text.replace(",", ".").partition(".")[2])
        new = f"{number(text) * factor:.{max(0, digits if factor > 1 else digits + 1)}f}"
        return new.replace(".", ",") if "," in text else new

    return turn


def no_point(text: str, m: Maker) -> str | None:
    new = text.replace(",", "").replace(".", "").lstrip("0")
    return new if new != text else None


def swapped_digits(text: str, m: Maker) -> str | None:
    at = [i for i in range(len(text) - 1) if text[i : i + 2].isdigit() and text[i] != text[i + 1]]
    if not at:
        return None
    i = at[int(m.rng.integers(len(at)))]
    return text[:i] + text[i + 1] + text[i] + text[i + 2 :]


def wrong_digit(text: str, m: Maker) -> str | None:
    at = [i for i, c in enumerate(text) if c.isdigit()][:3]
    i = at[int(m.rng.integers(len(at)))]
    return text[:i] + str((int(text[i]) + int(m.rng.integers(2, 8))) % 10) + text[i + 1 :]


def doubled_digit(text: str, m: Maker) -> str | None:
    at = [i for i, c in enumerate(text) if c.isdigit()]
    i = at[int(m.rng.integers(len(at)))]
    return text[:i] + text[i] + text[i:]


def dropped_digit(text: str, m: Maker) -> str | None:
    at = [i for i, c in enumerate(text) if c.isdigit()]
    i = at[int(m.rng.integers(len(at)))]
    new = text[:i] + text[i + 1 :]
    return new if len(at) > 1 and new[0].isdigit() and new[-1].isdigit() else None


def serial_of(
    m: Maker, kind: str, stage: str, turn: Any, mend: bool, count: int = 3, seen: bool = True
) -> None:
    """Plant a wrong serial on all rows of a piece."""
    for _ in range(200):
        (piece, *others), rows, day = m.some(stage, count)
        new = turn(piece, others, m)
        if new is None:
            continue
        mine = own(rows, piece)
        for row in mine:
            row["Serial"] = new
        right: Any = {"serial": piece.serial} if mend else "ask"
        m.plant(kind, stage, rows, day, [(mine, "Serial", piece.serial, right)], seen)
        return


def already(m: Maker, stage: str, piece: Piece) -> list[Piece]:
    """Return the pieces of the same model that have this card on record already."""
    return [p for p in m.pieces if p.model == piece.model and (p.serial, stage) in m.drawn]


def recent(piece: Piece, others: list[Piece], m: Maker, stage: str) -> str | None:
    done = already(m, stage, piece)[-6:]
    return done[int(m.rng.integers(len(done)))].serial if done else None


def day_of(m: Maker, kind: str, stage: str, turn: Any, mend: bool, seen: bool = True) -> None:
    for _ in range(200):
        (piece, *_), rows, day = m.some(stage)
        mine = own(rows, piece)
        true_day = piece.days[stage]
        new = turn(true_day, piece, m)
        if new is None:
            continue
        for row in mine:
            row["Date"] = new
        right: Any = {"day": true_day} if mend else "ask"
        m.plant(kind, stage, rows, day, [(mine, "Date", true_day, right)], seen)
        return


def moved(day: date, **to: int) -> date | None:
    try:
        return day.replace(**to)
    except ValueError:
        return None


def turned_day(day: date, piece: Piece, m: Maker) -> date | None:
    if day.day > 12 or day.day == day.month:
        return None
    return date(day.year, day.day, day.month)


def copied(m: Maker, kind: str, stage: str, from_record: bool) -> None:
    """Plant a card whose figures are all those of another piece of the model."""
    for tried in range(100):
        (piece, *others), rows, day = m.some(stage, 4)
        mine = own(rows, piece)
        if from_record or tried > 50:
            last = already(m, stage, piece)
            given = m.drawn[last[-1].serial, stage] if last else []
        else:
            same = [p for p in others if p.model == piece.model]
            given = own(rows, same[0]) if same else []
        if len(given) == len(mine):
            break
    told = []
    for row, other in zip(mine, given, strict=True):
        for name in FIGURES[stage]:
            if row[name] != other[name]:
                told.append(([row], name, row[name], "ask"))
            row[name] = other[name]
    for other in () if from_record else given:  # nobody can tell which of two on a sheet was measured
        if any(other is row for row in rows):
            told.append(([other], FIGURES[stage][0], other[FIGURES[stage][0]], "ask"))
    m.plant(kind, stage, rows, day, told)


def swap_columns(m: Maker, stage: str, one: str, two: str, whole: bool, seen: bool = True) -> None:
    (piece, *_), rows, day = m.some(stage)
    hit = rows if whole else [own(rows, piece)[0]]
    told = []
    for row in hit:
        row[one], row[two] = row[two], row[one]
        told += [([row], one, row[two], {"value": number(row[two])})]
        told += [([row], two, row[one], {"value": number(row[one])})]
    m.plant("swapped columns of a sheet" if whole else "swapped columns", stage, rows, day, told, seen)


def text_slips(m: Maker) -> None:
    for stage in ["taper", "bell", "coat", "last", "shine", "fit"]:
        for turn in (
            lambda t: t.replace("0", "O", 1),
            lambda t: t.replace("1", "l", 1),
            lambda t: t + "?" if len(t) > 2 else t,
        ):
            for _ in range(50):
                _, rows, day, row, name = figure(m, stage)
                if (new := turn(row[name])) != row[name]:
                    was, row[name] = row[name], new
                    m.plant(
                        "sign for a digit", stage, rows, day, [([row], name, was, {"value": number(was)})]
                    )
                    break


def figures(m: Maker) -> None:
    """Plant figures that are wrong."""
    pick = lambda n: [SINGLE[i % len(SINGLE)] for i in range(n)]  # noqa: E731
    for stage in pick(9):
        change(m, "ten times", stage, times(10), None if stage != "tune" else ["Cents"])
    for stage in ["taper", "bell", "fit", "coat", "shine", "last", "rotor"]:
        change(m, "tenth", stage, times(0.1))
    for stage in ["taper", "bell", "fit", "run", "rotor", "coat", "shine"]:
        change(m, "point lost", stage, no_point)
    for stage in [*pick(9), "taper", "bell", "fit", "last"]:
        change(m, "digits swapped", stage, swapped_digits)
    for stage in [*pick(9), "taper", "fit"]:
        change(m, "wrong digit", stage, wrong_digit)
    for stage in ["taper", "bell", "fit", "coat", "shine", "last"]:
        change(m, "digit doubled", stage, doubled_digit)
    for stage in ["taper", "bell", "shine", "fit", "last", "coat"]:
        change(m, "digit lost", stage, dropped_digit)
    for stage in ["taper", "bell", "fit", "tune", "coat", "rotor", "last"]:
        change(m, "small slip", stage, lambda t, m: small(t, m), sure=False)
    for name, stage in [
        ("Inner OD", "fit"),
        ("Outer bore", "fit"),
        ("Venturi", "taper"),
        ("Wand Hals", "bell"),
    ]:
        change(m, "inch for mm", stage, times(1 / 25.4), [name])
    change(m, "um for mm", "fit", times(1000), ["Inner OD"])
    change(m, "um for mm", "bell", times(1000), ["Wand Kranz"])
    change(m, "radius", "fit", times(0.5), ["Outer bore"])
    change(m, "radius", "bell", times(0.5), ["Kranzmass"])
    for _ in range(4):
        change(m, "sign", "tune", lambda t, m: t[1:] if t.startswith("-") else "-" + t, sure=False)
    for _ in range(3):
        (piece, *_), rows, day = m.some("shine")
        row = own(rows, piece)[0]
        was = str(int(m.rng.integers(1, 4)))
        row["Scratches"] = was + "0"
        m.plant("count ten times", "shine", rows, day, [([row], "Scratches", was, {"value": float(was)})])
    text_slips(m)


def small(text: str, m: Maker) -> str:
    digits = len(text.replace(",", ".").partition(".")[2])
    new = f"{number(text) + int(m.rng.choice([-2, -1, 1, 2])) * 10.0**-digits:.{digits}f}"
    return new.replace(".", ",") if "," in text else new


def pairs(m: Maker) -> None:
    """Plant columns that changed places, copies and doubled rows."""
    for stage, one, two in [
        ("taper", "Fill volume", "Pipe mass"),
        ("taper", "Venturi", "Fill volume"),
        ("bell", "Wand Kranz", "Wand Flanke"),
        ("bell", "Klopfton", "Kranzmass"),
        ("fit", "Inner OD", "Outer bore"),
        ("fit", "Inner OD", "Outer bore"),
        ("last", "Whole mass", "Key spring"),
    ]:
        swap_columns(m, stage, one, two, False, seen=one != "Wand Kranz")
    for stage, one, two in [
        ("taper", "Fill volume", "Pipe mass"),
        ("fit", "Inner OD", "Outer bore"),
        ("rotor", "Axialspiel", "Leck"),
        ("last", "Whole mass", "Key spring"),
        ("shine", "Gloss flare", "Ra flare"),
    ]:
        swap_columns(m, stage, one, two, True)
    for stage in ("fit", "coat", "tune"):
        for from_record in (False, True, False):
            copied(m, "copied card", stage, from_record)
    for stage in ("taper", "bell", "fit", "coat"):
        (piece, *_), rows, day = m.some(stage)
        again = [dict(r) for r in own(rows, piece)]
        at = max(i for i, r in enumerate(rows) if r["Serial"] == piece.serial)
        rows[at + 1 : at + 1] = again
        if stage in ("fit", "coat"):
            del rows[at + 2 : at + 1 + len(again)]
            again = again[:1]
        m.plant("row doubled", stage, rows, day, [(again, "Serial", piece.serial, "ask")])
    for stage in ("fit", "coat", "tune"):
        for _ in range(2):
            (piece, *_), rows, day = m.some(stage)
            done = already(m, stage, piece)[-int(m.rng.integers(1, 9))]
            old = [{**r, "Date": day} for r in m.drawn[done.serial, stage]]
            m.plant(
                "card again on another day", stage, [*rows, *old], day, [(old, "Date", old[0]["Date"], "ask")]
            )
    for stage, column, turn in [
        ("fit", "Station", {"mouth": "mid", "mid": "bow", "bow": "mouth"}),
        ("fit", "Leg", {"upper": "lower", "lower": "upper"}),
        ("coat", "Spot", {1: 2, 2: 3, 3: 1}),
        ("tune", "Partial", {2: 3, 3: 4, 4: 5, 5: 6, 6: 8, 8: 2}),
        ("rotor", "Ventil", {"F": "D", "D": "F"}),
        ("coat", "Area", {"bell": "body", "body": "slide", "slide": "bell"}),
    ]:
        (piece, *_), rows, day = m.some(stage, 3, "uhu" if stage == "rotor" else "")
        mine = own(rows, piece)
        row = mine[int(m.rng.integers(len(mine)))]
        was, row[column] = row[column], turn[row[column]]
        m.plant("place twice", stage, rows, day, [([row], column, str(was), {column.lower(): str(was)})])
    for place, stage, wrong in [
        ("Station", "fit", "end"),
        ("Partial", "tune", 7),
        ("Area", "coat", "bells and bows"),
    ]:
        (piece, *_), rows, day = m.some(stage)
        row = own(rows, piece)[0]
        was, row[place] = row[place], wrong
        m.plant("unknown place", stage, rows, day, [([row], place, str(was), "ask")])


def who_and_what(m: Maker) -> None:
    """Plant wrong serials, models, people and gauges."""
    for stage in ["taper", "bell", "run", "rotor", "shine", "last", "fit", "coat", "tune", "bell"]:
        serial_of(
            m, "serial of another that has the card", stage, lambda p, o, m, s=stage: recent(p, o, m, s), True
        )
    for stage in ["bell", "run", "shine", "last", "rotor", "coat"]:
        serial_of(m, "serial digit doubled", stage, lambda p, o, m: p.serial + p.serial[-1], True)
    for stage in ["taper", "bell", "fit", "last", "shine"]:
        serial_of(m, "serial far ahead", stage, lambda p, o, m: f"F26-{p.number + 600:04d}", True)
    for stage in ["bell", "fit", "run", "rotor", "tune", "shine"]:
        serial_of(m, "serial far behind", stage, lambda p, o, m: f"F26-0{p.number % 100:03d}", True)
    for stage in ["bell", "fit", "coat", "last"]:
        serial_of(m, "letter O in the serial", stage, lambda p, o, m: p.serial.replace("-0", "-O"), True)
    for stage in ["bell", "run", "shine", "last"]:
        serial_of(m, "wrong year in the serial", stage, lambda p, o, m: p.serial.replace("F26", "F27"), True)
    for stage in ["bell", "run", "shine", "last"]:
        serial_of(m, "year before in the serial", stage, lambda p, o, m: p.serial.replace("F26", "F25"), True)
    for stage in ["bell", "fit", "last"]:
        serial_of(m, "no serial", stage, lambda p, o, m: "", False)
    for stage in ["bell", "run", "last", "shine"]:
        serial_of(
            m,
            "serial of another model",
            stage,
            lambda p, o, m: next(
                (x.serial for x in m.pieces if x.model != p.model and abs(x.number - p.number) in (1, 10)),
                None,
            ),
            True,
        )
    for stage in ["taper", "fit", "coat", "last"]:
        serial_of(
            m,
            "serial of the next on the sheet",
            stage,
            lambda p, o, m: next((x.serial for x in o), None),
            True,
        )
    for stage in ["shine", "coat", "last", "run"]:
        serial_of(m, "serial of a piece just begun", stage, lambda p, o, m: begun(m, p), True)
    for stage in ["bell", "run", "rotor", "shine", "last", "coat", "fit", "tune", "bell", "last"]:
        wrong_model(m, stage)
    for stage, new in [("bell", "ZZ"), ("fit", "LV"), ("last", "KH"), ("run", "")]:
        (piece, *_), rows, day = m.some(stage)
        mine = own(rows, piece)
        was = mine[0]["Person"]
        for row in mine:
            row["Person"] = new
        m.plant("person", stage, rows, day, [(mine, "Person", was, {"person": was})], seen=bool(new))
    for stage, new in [
        ("fit", "WG-1"),
        ("bell", "BG-1"),
        ("run", "MI-1"),
        ("last", "BA-3"),
        ("coat", "GM-1"),
    ]:
        (piece, *_), rows, day = m.some(stage)
        right = dict(fit="MI-1", bell="WG-1", run="SB-1", last="BA-2", coat="CG-1")[stage]
        for row in rows:
            row["Gauge"] = "" if stage != "coat" else right
        mine = own(rows, piece)
        for row in mine:
            row["Gauge"] = new
        both = [(mine, "Gauge", right, {"gauge": right})]
        others = dict(fit="BG-1", bell="PM-1 CA-1", run="FE-1").get(stage, "").split()
        both += [(mine, "Gauge", one, {"gauge": one}) for one in others]  # one for each figure of the card
        m.plant("gauge", stage, rows, day, both)
    for _ in range(3):
        (piece, *_), rows, day = m.some("bell")
        mine = own(rows, piece)
        for row in mine:
            row["Model"] = piece.model.replace("s", "ss")[:-1] if piece.model != "drossel" else "drosel"
        m.plant("model misspelt", "bell", rows, day, [(mine, "Model", piece.model, {"model": piece.model})])


def begun(m: Maker, piece: Piece) -> str | None:
    late = [p for p in m.pieces if p.model == piece.model and p in m.waiting["bell"]]
    return late[0].serial if late and late[0] is not piece else None


def wrong_model(m: Maker, stage: str) -> None:
    (piece, *_), rows, day = m.some(stage, 3, "sperber uhu" if stage == "rotor" else "")
    mine = own(rows, piece)
    ring = [x for x in dict.fromkeys(MODELS) if x != piece.model and (stage != "rotor" or VALVES[x])]
    new = str(m.rng.choice(ring))
    for row in mine:
        row["Model"] = new
    m.plant("wrong model", stage, rows, day, [(mine, "Model", piece.model, {"model": piece.model})])


def days(m: Maker) -> None:
    """Plant wrong days and cards that cannot be."""
    for stage in ["taper", "bell", "run", "shine"]:
        day_of(m, "year before", stage, lambda d, p, m: moved(d, year=2025), True)
    for stage in ["fit", "coat"]:
        day_of(m, "year to come", stage, lambda d, p, m: moved(d, year=2027), True)
    for stage in ["bell", "tune", "last"]:
        day_of(m, "year of another century", stage, lambda d, p, m: d.strftime("%d.%m.0206"), True)
    for stage in ["run", "fit", "shine", "bell", "last"]:
        day_of(m, "month before", stage, lambda d, p, m: moved(d, month=d.month - 1), True)
    for stage in ["run", "coat", "last"]:
        day_of(m, "month after", stage, lambda d, p, m: moved(d, month=d.month + 1), True)
    for stage in ["bell", "run", "shine", "last", "coat"]:
        day_of(m, "day and month changed", stage, turned_day, True)
    for stage in ["bell", "last"]:
        day_of(m, "no such day", stage, lambda d, p, m: "31.09.2026", False)
    for stage in ["run", "fit"]:
        day_of(m, "day before", stage, lambda d, p, m: d - timedelta(1), True, seen=False)
    for stage in ["bell", "last"]:
        day_of(m, "no day", stage, lambda d, p, m: "", False)
    gone = [p for p in m.pieces if (p.serial, "out") in m.drawn]
    for stage in ["bell", "run", "last", "coat"]:
        (piece, *_), rows, day = m.some(stage)
        mine = own(rows, piece)
        other = gone[-int(m.rng.integers(1, 20))].serial
        for row in mine:
            row["Serial"] = other
        m.plant(
            "piece long shipped", stage, rows, day, [(mine, "Serial", piece.serial, {"serial": piece.serial})]
        )
    for n in (3, 9):
        (piece, *_), rows, day = m.some("out", 2)
        mine = own(rows, piece)
        mine[0]["Serial"] = gone[-n].serial
        m.plant("shipped twice", "out", rows, day, [(mine, "Serial", piece.serial, {"serial": piece.serial})])
    (piece, *_), rows, day = m.some("out", 2)
    other = m.waiting["run"][0]
    mine = own(rows, piece)
    mine[0]["Serial"] = other.serial
    m.plant(
        "shipped unfinished", "out", rows, day, [(mine, "Serial", piece.serial, {"serial": piece.serial})]
    )


def slips(m: Maker) -> None:
    """Plant all slips."""
    figures(m)
    pairs(m)
    who_and_what(m)
    days(m)


def odd_cards(m: Maker) -> None:
    """Write true cards that look odd, and plain ones."""
    for stage in [*SINGLE, "out"] * 3:
        _, rows, day = m.some(stage, 6)
        m.true("plain cards", stage, rows, day)
    for stage in SINGLE:
        (piece, *_), rows, day = m.some(stage)
        for row in own(rows, piece):
            for name in FIGURES[stage]:
                if name in SPREAD and name not in PLACES:
                    value = centre(name, piece, row) + 4.2 * spread(name)
                    row[name] = shown(value, SPREAD[name][3], stage)
        m.true("a whole piece apart by four spreads", stage, rows, day)
    for stage in SINGLE:
        _, rows, day, row, name = figure(m, stage)
        piece = next(p for p in m.pieces if p.serial == row["Serial"])
        row[name] = shown(centre(name, piece, row) + 4.0 * spread(name), SPREAD[name][3], stage)
        m.true("one figure in the tail at four spreads", stage, rows, day)
    for stage in ("bell", "taper", "run"):
        _, rows, day = m.some(stage, 4)
        for row in rows:
            row["Serial"] = row["Serial"].lower().replace("-", " ")
        m.true("serials in small letters with a blank", stage, rows, day)
    for stage in ("bell", "shine", "last"):
        _, rows, day = m.some(stage, 4)
        m.true("a card that lay for eight days", stage, rows, day + timedelta(0))
        m.odd[-1]["as_of"] = day + timedelta(8)
    for stage in ("fit", "coat", "tune"):
        (piece, *_), rows, day = m.some(stage)
        mine = own(rows, piece)
        name = FIGURES[stage][0]
        if stage != "tune":
            mine[1][name] = mine[0][name]
        m.true("two neighbours alike", stage, rows, day)
    for _ in range(2):
        (piece, *_), rows, day = m.some("shine")
        own(rows, piece)[0]["Scratches"] = "5"
        m.true("many scratches, as can be", "shine", rows, day)


__all__ = ["card", "odd_cards", "slips"]
