"""Score a stranger's cases: what is read of each layout, what becomes of each slip and true card.

    python tests/strangers/score_sheets.py tests/strangers/third

Prints a line for each case that did not come out as meant, then the counts. Nothing is tuned on these cases
before they have been scored once; afterwards they are kept as tests.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from qc.ingest import Known, SheetError, check, read_sheet, unfold
from qc.jobs import upload as uploading
from qc.jobs.past import known_of_parts
from qc.jobs.workshop import Workshop, open_workshop
from qc.plan import PLACE, Plan, load_plan

Reading = tuple[str, str, str, str, frozenset[str], float]
Case = Mapping[str, Any]


def read_layouts(here: Path) -> list[Case]:
    """Return the layouts, each with its file and what must come of it."""
    found: list[Case] = _read(here / "layouts.yaml")["layouts"]
    return found


def read_slips(here: Path) -> tuple[list[Case], list[Case]]:
    """Return the planted slips and the odd but true cards."""
    found = _read(here / "mishaps.yaml")
    return found["slips"], found["odd"]


@cache
def _read(file: Path) -> Any:
    """Read a file of cases, once: each of fifty layouts asks for all of them."""
    return yaml.load(file.read_text("utf-8"), Loader=yaml.CSafeLoader)


def meant(lines: Iterable[str]) -> set[Reading]:
    """Return the readings that a layout names: serial, model, day, characteristic, places, value."""
    found = set()
    for line in lines:
        serial, model, day, name, places, value = (part.strip() for part in line.split("|"))
        found.add((serial, model, day, name, frozenset(places.split()), round(float(value), 6)))
    return found


def layout_outcome(here: Path, case: Case, plan: Plan, day: date) -> str:
    """Say what becomes of a layout: right, asked, misread, refused, or what is missing of it."""
    accepted: set[Reading] = set()
    try:
        parts = [
            unfold(grid, plan)
            for grid in read_sheet((here / "layouts" / case["file"]).read_bytes(), case["file"])
        ]
        checked = check(parts, plan, Known(today=day))
    except SheetError as error:
        fair = case.get("whole") and names_one(case, str(error))
        return "right" if fair else f"refused: {error}"
    held = []
    for one in checked:
        held += one.held.to_dicts()
        for row in one.readings.to_dicts():
            places = frozenset(f"{place}={row[place]}" for place in PLACE if row[place] not in (None, ""))
            serial, model, name = row["serial"], row["model"], row["characteristic"]
            accepted.add((serial, model, str(row["day"]), name, places, round(float(row["value"]), 6)))
    wanted = meant(case.get("readings", []))
    asked = [
        (meant(one.get("readings", [])), one) for key in ("asked", "either") for one in case.get(key, [])
    ]
    fair = wanted.union(*(meant(one.get("readings", [])) for one in case.get("either", [])))
    wrong = accepted - fair
    if wrong - set().union(*(readings for readings, _ in asked)):
        return f"misread: {sorted(map(str, wrong))[:2]}"
    if wrong:
        return f"went in unasked: {sorted(map(str, wrong))[:2]}"
    if missing := wanted - accepted:
        sentences = [reason["sentence"] for row in held for reason in json.loads(row["reasons"])]
        return f"held {len(missing)} of {len(wanted)}: {sentences[:1]}"
    said = " ".join(str(row) for row in held)
    for readings, one in asked:
        unasked = not (readings and readings <= accepted) if one in case.get("either", []) else True
        if unasked and not names_one(one, said):
            return f"asks without naming {one['names']}: {said[:200]}"
    return "right"


def seen_layouts(here: Path) -> tuple[Counter[str], dict[str, str]]:
    """Count what becomes of the layouts of a stranger by its first word; tell those that are not right."""
    plan, day = planned(here)
    told = {case["file"]: layout_outcome(here, case, plan, day) for case in read_layouts(here)}
    seen = Counter(said.split(":")[0].split(" ")[0] for said in told.values())
    return seen, {file: said for file, said in told.items() if said != "right"}


def names_one(case: Case, said: str) -> bool:
    """Say whether a question names what it must."""
    named = [str(name) for name in case.get("names", [])]
    named += [
        str(n) for key in ("asked", "either") for one in case.get(key, []) for n in one.get("names", [])
    ]
    return any(name.lower() in said.lower() for name in named)


def recorded(here: Path, folder: Path) -> Workshop:
    """Make the workshop with its record of forty pieces; no row of it may be held."""
    (folder / "plan.yaml").write_bytes((here / "plan.yaml").read_bytes())
    days = sorted((here / "mishaps" / "history").iterdir())
    workshop = open_workshop(folder, as_of=date.fromisoformat(days[-1].name))
    sheets = [sheet for day in days for sheet in sorted(day.iterdir())]
    receipt = uploading.upload(workshop, [(sheet.name, sheet.read_bytes()) for sheet in sheets]).to_dict()
    held = sum(one["held"] for one in receipt["sheets"])
    if held:
        print(f"history: {held} rows are held")
    workshop.store.close()
    return workshop


def held_of(here: Path, case: Case, workshop: Workshop) -> list[dict[str, Any]] | None:
    """Return the rows held of one sheet; None where it is refused."""
    try:
        grids = read_sheet((here / "mishaps" / case["file"]).read_bytes(), case["file"])
        parts = [unfold(grid, workshop.plan) for grid in grids]
    except SheetError:
        return None
    checked = check(parts, workshop.plan, known_of_parts(workshop, parts))
    return [row for one in checked for row in one.held.to_dicts()]


def slip_outcome(case: Case, held: list[dict[str, Any]] | None) -> str:
    """Say what became of a slip: silent, asked, a right or a wrong mend offered first."""
    if held is None:
        return "asked"
    lines = {line for slip in case["planted"] for line in slip["lines"]}
    hit = [row for row in held if row["row"] in lines]
    if not hit:
        return "silent" if not held else "asked elsewhere"
    for row in hit:
        allowed = [one for slip in case["planted"] if row["row"] in slip["lines"] for one in mends(slip)]
        for offered in json.loads(row["proposal"] or "{}").values():
            if not any(agrees(offered, one) for one in allowed):
                return f"wrong mend {row['proposal']}"
    return "right mend" if any(row["proposal"] for row in hit) else "asked"


def mends(slip: Case) -> list[object]:
    """Return what may be offered for a slip: its mend, and what was meant."""
    named = slip["mend"].values() if isinstance(slip["mend"], dict) else []
    return [*named, slip["meant"]]


def agrees(offered: object, wanted: object) -> bool:
    """Say whether two texts mean one day, number or word."""
    if isinstance(wanted, date | datetime):
        return str(offered).strip()[:10] == str(wanted)[:10]
    try:
        one, two = float(str(offered).replace(",", ".")), float(str(wanted).replace(",", "."))
    except ValueError:
        return str(offered).strip() == str(wanted).strip()
    return abs(one - two) < 1e-4 * max(1.0, abs(two))


@cache
def planned(here: Path) -> tuple[Plan, date]:
    """Return the plan of a stranger's workshop and the day its layouts are handed in."""
    return load_plan((here / "plan.yaml").read_text("utf-8")), _read(here / "layouts.yaml")["as_of"]


def slip_outcomes(
    here: Path, folder: Path, every: int = 1
) -> tuple[dict[str, str], dict[str, list[str] | None]]:
    """Say what becomes of every slip, and what is said of each odd card that is held or refused.

    The workshop with its record is made once in `folder`, and opened once for each day of a case. Nearly all
    of the time goes into the rules, which are run anew for each card: of `every` so many cases one is taken.
    """
    slips, odd = (cases[::every] for cases in read_slips(here))
    made = recorded(here, folder)
    seen: dict[str, str] = {}
    false: dict[str, list[str] | None] = {}
    for day in sorted({case["as_of"] for case in (*slips, *odd)}):
        workshop = open_workshop(made.folder, as_of=day)
        for case in slips:
            if case["as_of"] == day:
                seen[case["file"]] = slip_outcome(case, held_of(here, case, workshop))
        for case in odd:
            held = held_of(here, case, workshop) if case["as_of"] == day else []
            if held is None:
                false[case["file"]] = None
            elif held:
                false[case["file"]] = [one["sentence"] for one in json.loads(held[0]["reasons"])]
        workshop.store.close()
    return seen, false


def main(folder: str) -> None:
    """Print what did not come out as meant, and the counts."""
    here = Path(folder)
    plan, day = planned(here)
    counts: Counter[str] = Counter()
    for case in read_layouts(here):
        said = layout_outcome(here, case, plan, day)
        counts[said.split(":")[0].split(" ")[0]] += 1
        if said != "right":
            print(f"{case['file']}: {said}")
    print("layouts", dict(counts))
    with tempfile.TemporaryDirectory() as made:
        outcomes, false = slip_outcomes(here, Path(made))
    seen: Counter[str] = Counter()
    slips, odd = read_slips(here)
    for case in slips:
        said = outcomes[case["file"]]
        seen[("" if case["detectable"] else "unseeable: ") + " ".join(said.split()[:2])] += 1
        if (said != "right mend" and said != "asked") or not case["detectable"]:
            print(f"{case['file']} ({case['kind']}): {said}")
    for file, why in false.items():
        print(f"{file}: held {why}")
    print("slips", dict(seen), "odd cards held", len(false), "of", len(odd))


if __name__ == "__main__":
    main(sys.argv[1])
