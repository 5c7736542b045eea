"""Whatever comes in: every row is accepted, held or known, and what is accepted is found again."""

from __future__ import annotations

import random
from datetime import date
from pathlib import Path

import polars as pl
import pytest

from qc.jobs.receipts import UploadReceipt, accepted_readings
from qc.jobs.status import status
from qc.jobs.upload import upload
from qc.jobs.workshop import Workshop, open_workshop
from qc.watch import series_points, sources_of
from qc.watch.series.notes import LEAST_NOTES

STRANGERS = Path(__file__).parents[1] / "strangers" / "sheets"
LAYOUTS = sorted(path for path in (STRANGERS / "layouts").rglob("*.*") if path.suffix in {".csv", ".xlsx"})
MISHAPS = sorted((STRANGERS / "mishaps" / "sheets").iterdir())
HISTORY = sorted(path for path in (STRANGERS / "mishaps" / "history").rglob("*.*") if path.is_file())
TODAY = date(2027, 3, 1)


def opened(folder: Path) -> Workshop:
    folder.mkdir()
    (folder / "plan.yaml").write_bytes((STRANGERS / "plan.yaml").read_bytes())
    return open_workshop(folder, as_of=TODAY)


def charted(workshop: Workshop) -> set[tuple[str, str, str]]:
    """Return stage, characteristic and serial of every reading that a point of some series is made of."""
    found = set()
    for stage, characteristic, family in workshop.plan.charted():
        rows = workshop.store.readings(stage=stage.id, characteristics=sources_of(characteristic))
        made = series_points(rows, workshop.plan, stage, characteristic, family)
        serials = {point.serial for point in made.points} | set(made.left_out)
        found |= {(stage.id, name, serial) for name in sources_of(characteristic) for serial in serials}
    return found


def half_of_a_pair(workshop: Workshop, stage: str, serial: str) -> bool:
    """Say whether a piece still waits for what its figure is computed from: more notes, the other tube."""
    own = workshop.store.readings(stage=stage, serials=[serial])
    if stage == "tuning":
        return own.filter(pl.col("characteristic") == "note").height < LEAST_NOTES
    places = [
        set(own.filter(pl.col("characteristic") == name).select("leg", "station").rows())
        for name in ("inner_od", "outer_bore")
    ]
    return not places[0] & places[1]


def assert_nothing_is_lost(workshop: Workshop, receipts: list[UploadReceipt]) -> None:
    for receipt in receipts:
        for sheet in receipt.sheets:
            count = sheet.count
            assert count.rows == count.accepted + count.held + count.already_known, count.file
            assert 0 <= count.held_again <= count.held
    readings = workshop.store.readings()
    counted = accepted_readings(workshop)
    assert counted.readings == readings.height == sum(r.accepted.readings for r in receipts)
    assert counted.in_series == sum(r.accepted.in_series for r in receipts)
    assert counted.nowhere == 0
    assert status(workshop).to_dict()["readings"] == counted.to_dict()
    found, plan = charted(workshop), workshop.plan
    for stage, name, model, serial in (
        readings.select("stage", "characteristic", "model", "serial").unique().rows()
    ):
        stands = plan.stands(stage, name, model or "")
        assert stands != "nowhere", (stage, name, serial)
        if stands == "chart" and (stage, name, serial) not in found:
            assert half_of_a_pair(workshop, stage, serial), (stage, name, serial)


def mutated(data: bytes, draw: random.Random) -> bytes:
    """Do to a sheet what hands do: leave a cell out, change one for another, double or drop a line."""
    lines = data.decode("utf-8-sig", "replace").splitlines()
    for _ in range(draw.randint(1, 3)):
        at = draw.randrange(len(lines))
        cells = lines[at].split(";" if ";" in lines[at] else ",")
        match draw.randrange(6):
            case 0:
                cells[draw.randrange(len(cells))] = ""
            case 1:
                cells[draw.randrange(len(cells))] = draw.choice(
                    [
                        "2026-11-24",
                        "KT26-01-KT26-03",
                        "tenor",
                        "alto",
                        "?",
                        "12,5",
                        "Thickness",
                        "mouth",
                        "KT26-99",
                    ]
                )
            case 2:
                first, second = draw.randrange(len(cells)), draw.randrange(len(cells))
                cells[first], cells[second] = cells[second], cells[first]
            case 3:
                lines.insert(at, lines[at])
            case 4:
                other = draw.randrange(len(lines))
                lines[at], lines[other] = lines[other], lines[at]
                continue
            case _:
                del lines[at]
                if not lines:
                    return b""
                continue
        lines[at] = (";" if ";" in lines[at] else ",").join(cells)
    return "\n".join(lines).encode()


@pytest.mark.parametrize("sheets", [LAYOUTS, [*HISTORY, *MISHAPS]], ids=["layouts", "mishaps"])
def test_every_sheet_of_a_stranger(tmp_path: Path, sheets: list[Path]) -> None:
    workshop = opened(tmp_path / "shop")
    receipt = upload(workshop, [(path.name, path.read_bytes()) for path in sheets])
    assert sum(sheet.count.accepted for sheet in receipt.sheets) > 100
    assert_nothing_is_lost(workshop, [receipt])
    workshop.store.close()


@pytest.mark.parametrize("seed", [412, 413])
def test_sheets_that_hands_have_spoiled(tmp_path: Path, seed: int) -> None:
    draw = random.Random(seed)
    workshop = opened(tmp_path / "shop")
    texts = [path for path in [*LAYOUTS, *HISTORY, *MISHAPS] if path.suffix == ".csv"]
    receipts = []
    for _ in range(3):
        chosen = draw.sample(texts, 25)
        receipts.append(upload(workshop, [(p.name, mutated(p.read_bytes(), draw)) for p in chosen]))
    assert sum(sheet.count.held for receipt in receipts for sheet in receipt.sheets) > 0
    assert_nothing_is_lost(workshop, receipts)
    workshop.store.close()
