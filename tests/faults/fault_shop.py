"""A small workshop in which every writing verb has something to do, and what is compared after a fault.

The plan is cut from the sample workshop's: slide force and mass loss, with its people, models and causes. The
sheets are drawn by a fixed seed: the force rises by four spreads at the end, so that there is a signal to
speak of, and some rows are held.
"""

from __future__ import annotations

import json
import random
import zlib
from datetime import date, timedelta
from pathlib import Path

import yaml
from fault_server import asking

ROOT = Path(__file__).resolve().parents[2]
FORCE, LOSS = "slide/force/all", "polish/mass_loss/tenor"
ODD = "odd.csv"
"""On the bench, and in a workshop where it waits: a sheet that no reader reads."""
FIRST_DAY = date(2026, 1, 5)
MEANT = """card: force-card
columns: {Gemessen: Date, Nummer: Serial, "Kraft [N]": Slide force}
"""
SLIDE_BOOK = """
layouts:
  - layout: Slide book
    fixed: {A1: Schieberbuch}
    tables:
      - card: force-card
        pieces: {are: rows, first: 3}
        facts: {serial: cell B3, date: cell G3, person: cell I3, model: tenor}
        figures:
          - {at: D3, is: Slide force, unit: N}
"""
"""The layout of a slide book that no reader reads."""
SHOWN = """layouts:
  - layout: Kraftbogen
    fixed: {A1: Kraftbogen, A5: Nummer}
    dates: day-first
    decimal: comma
    tables:
      - card: force-card
        pieces: {are: columns, first: C}
        leave out: [Mittel]
        facts: {date: cell B2, person: cell B3, gauge: cell B4, serial: cell C5, model: cell C6}
        figures:
          - {at: C7, is: Slide force, unit: N}
"""
"""A layout that a person showed, for `shown_sheet`."""

TIMES = {"when", "at", "hash", "before", "content"}


def lay_plan(folder, **changes):
    """Write the small plan; `changes` go into its first stage's figure."""
    plan = yaml.safe_load((ROOT / "sample_measurements" / "plan.yaml").read_text("utf-8"))
    keep = {"slide": ["force"], "polish": ["mass_loss"]}
    plan["stages"] = [s for s in plan["stages"] if s["id"] in keep]
    for stage in plan["stages"]:
        stage["characteristics"] = [c for c in stage["characteristics"] if c["id"] in keep[stage["id"]]]
    plan["stages"][0]["characteristics"][0].update(changes)
    plan["cards"] = [c for c in plan["cards"] if c["id"] in {"force-card", "polish-card"}]
    plan["tools"] = []
    plan["models"] = [m for m in plan["models"] if m["id"] == "tenor"]
    _forget_other_models(plan)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.yaml").write_text(yaml.safe_dump(plan, sort_keys=False, allow_unicode=True), "utf-8")


def _forget_other_models(plan):
    for stage in plan["stages"]:
        for figure in stage["characteristics"]:
            for limits in figure.get("limits", []):
                if "models" in limits:
                    limits["models"] = [m for m in limits["models"] if m == "tenor"]
            figure["limits"] = [x for x in figure.get("limits", []) if x.get("models", ["all"])]


def sheet(card, rows, person="FN"):
    """Return a sheet of (number of the piece, value) as bytes."""
    title, gauge, figure = {
        "force": ("Slide force card", "SB-1", "Slide force [N]"),
        "loss": ("Polishing card", "BA-1", "Mass loss [g]"),
    }[card]
    lines = [f"Card,{title},,,", f"Gauge,{gauge},,,", ",,,,", f"Date,Serial,Model,Person,{figure}"]
    for number, value in rows:
        day = FIRST_DAY + timedelta(days=number)
        lines.append(f"{day},QH-{1000 + number},tenor,{person},{value:.2f}")
    return ("\n".join(lines) + "\n").encode()


def drawn(first, last, mean, spread, seed=20260514):
    """Draw (number, value) for the pieces from `first` to `last`, the same every time."""
    chance = random.Random(f"{seed} {first} {mean}")
    return [(n, max(0.05, chance.gauss(mean, spread))) for n in range(first, last + 1)]


def history():
    """Return the sheets of the base workshop: name to bytes."""
    return {
        "force-1.csv": sheet("force", drawn(1, 40, 0.95, 0.05)),
        "force-2.csv": sheet("force", drawn(41, 52, 1.15, 0.05)),
        "loss-1.csv": sheet("loss", drawn(1, 50, 18.0, 2.0)),
        "force-wrong-person.csv": sheet("force", drawn(53, 60, 1.15, 0.05), person="FNX"),
    }


def news(card, part, parts):
    """Return one of several sheets of new pieces; those of `loss` lie four spreads higher."""
    rows = drawn(61, 61 + 8 * parts - 1, *{"force": (1.15, 0.05), "loss": (26.0, 2.0)}[card])
    return sheet(card, rows[8 * part : 8 * part + 8])


def own_words():
    """Return a sheet whose headings are a bench's own, which `MEANT` explains."""
    words = (
        news("force", 0, 3).replace(b"Date,Serial", b"Gemessen,Nummer").replace(b"Slide force", b"Kraft", 2)
    )
    return words.replace(b"Kraft card", b"Slide force card")


def shown_sheet():
    """Return a sheet of new pieces that no card of the plan is like: a piece a column, read by `SHOWN`."""
    pieces = [line.split(",") for line in news("force", 0, 3).decode().splitlines()[4:]]
    lines = [
        ["Kraftbogen"],
        ["Datum", "16.03.2026"],
        ["Wer", "FN"],
        ["Waage", "SB-1"],
        ["Nummer", "", *(piece[1] for piece in pieces), "Mittel"],
        ["Modell", "", *(piece[2] for piece in pieces), ""],
        ["Kraft", "N", *(piece[4].replace(".", ",") for piece in pieces), "1,15"],
    ]
    return ("\n".join(";".join(line) for line in lines) + "\n").encode()


def odd_sheet():
    """Return a sheet that no reader reads, until its layout is shown."""
    lines = "".join(f"Nr.;QH-{n};;{n % 7 / 100 + 1.1:.2f};;;9.3.26;;FN\n" for n in range(1061, 1069))
    return f"Schieberbuch;;\n;;\n{lines}".encode()


def years():
    """Return readings of new pieces as a history has them: one a row, the figure by name; one part."""
    lines = ["Date,Serial,Model,Stage,Characteristic,Value,Person,Gauge"]
    for line in news("force", 0, 3).decode().splitlines()[4:]:
        day, serial, model, person, value = line.split(",")
        lines.append(f"{day},{serial},{model},slide,force,{value},{person},SB-1")
    return ("\n".join(lines) + "\n").encode()


def make_base(driver, folder):
    """Make the base workshop by the real commands, and sheets to hand in beside it; returns its folder."""
    shop, bench = folder / "shop", folder / "bench"
    lay_plan(shop)
    bench.mkdir()
    for name, data in history().items():
        (bench / name).write_bytes(data)
    for part in range(5):
        (bench / f"new-{part}.csv").write_bytes(news("loss" if part % 2 == 0 else "force", part // 2, 3))
    (bench / ODD).write_bytes(odd_sheet())
    (bench / "own-words.csv").write_bytes(own_words())
    (bench / "mapping.yaml").write_text(MEANT, "utf-8")
    (bench / "layout.yaml").write_text(SLIDE_BOOK, "utf-8")
    (bench / "layouts.yaml").write_text(SHOWN, "utf-8")
    (bench / "shown.csv").write_bytes(shown_sheet())
    (bench / "years.csv").write_bytes(years())
    done = driver.run("upload", *(bench / name for name in history()), "--who", "IS", "--workshop", shop)
    assert done.code == 0, done.err
    return shop


def content(shop):
    """Return everything a workshop keeps that must not differ after a fault, moments and hashes left out.

    Read by a connection of its own, in plain SQL: the program is not asked about itself here.
    """
    found = {}
    with asking(shop) as conn:
        for name, statement in QUESTIONS.items():
            found[name] = sorted(_plain(row) for row in conn.execute(statement))
    found["files"] = sorted(p.name for p in (shop / "sheets").iterdir() if p.is_file())
    return found


QUESTIONS = {
    "sheets": "SELECT hash AS sheet, file, card, size FROM sheet",
    "readings": (
        "SELECT serial, characteristic, value, person, repeat, file, r.text, r.row, replaces FROM reading r "
        "JOIN origin o ON o.id = r.origin JOIN sheet s ON s.id = o.sheet"
    ),
    "held": (
        "SELECT h.id, h.row, h.text, h.reasons, e.state FROM held h LEFT JOIN held_event e ON e.held = h.id"
    ),
    "taken_back": "SELECT reading, event, decision, waits_as FROM taken_back",
    "plans": "SELECT hash AS plan FROM plan_version",
    "mappings": "SELECT hash AS mapping FROM mapping_version",
    "verdicts": "SELECT series, as_of, body FROM verdict",
    "signals": "SELECT id, series, kind, first_as_of, last_as_of, body FROM signal",
    "told": "SELECT series, day, verdict, state FROM told",
    "unread": (
        "SELECT u.hash AS unread, u.file, u.size, u.refusal, e.state, e.note FROM unread u "
        "LEFT JOIN unread_event e ON e.unread = u.id"
    ),
    "months": "SELECT month, file, hash FROM month_file",
    "pieces": "SELECT serial, what, reason, text FROM piece_event",
    "people": (
        "SELECT DISTINCT e.code, e.what, e.role, p.name, p.once IS NOT NULL AS waits_for_a_code "
        "FROM person_event e LEFT JOIN person p ON p.code = e.code"  # a second new code is another event
    ),
    "said": "SELECT signal, what, cause, action, text, first_serial, last_serial FROM signal_event",
}


def _plain(row):
    values = {name: row[name] for name in row.keys() if name not in TIMES}
    values |= {name: int(value) for name, value in values.items() if isinstance(value, bool)}
    if isinstance(values.get("body"), bytes):
        values["body"] = zlib.decompress(values["body"]).decode()
    return json.dumps(values, ensure_ascii=False)


def looked_at(driver, shop):
    """Ask for the status, as the next person does, and return it with what is kept then."""
    asked = driver.run("status", "--json", "--workshop", shop)
    assert asked.code == 0, asked.err
    return {**content(shop), "status": json.loads(asked.out)}


def different(one, other):
    """Name what differs between two workshops."""
    return [name for name in one if one[name] != other[name]]


def signal_of(shop, series):
    """Return the id of the newest signal of a series."""
    with asking(shop) as conn:
        found = conn.execute("SELECT id, series FROM signal").fetchall()
    return max(row["id"] for row in found if row["series"] == series)
