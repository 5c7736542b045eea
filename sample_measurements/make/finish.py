"""Polishing, lacquer and its defects."""

from __future__ import annotations

import statistics

from sample_measurements.make import scenario
from sample_measurements.make.flow import Flow, Piece
from sample_measurements.make.groups import by_day, by_fortnight, by_month
from sample_measurements.make.noise import Noise
from sample_measurements.make.sheets import Sheet, Tab, figure
from sample_measurements.make.workdays import fortnight

SPOTS = 5
QUIET_FAMILY = ("tenor", "tenor-bass")
TRIES = 5000  # honest draws looked through for one that looks bad


def polish_cards(flow: Flow, seed: int) -> list[Sheet]:
    """Return the polishing cards, a sheet a month."""
    pieces = flow.at("polish")
    losses = _losses(pieces, seed)
    noise = Noise(seed, "polish-crew")
    sheets = []
    for month, group in by_month(pieces, lambda piece: piece.days["polish"]):
        head = [("Card", "Polishing card"), ("Gauge", "BA-1")]
        tab = Tab("", head, ["Date", "Serial", "Model", "Person", "Mass loss [g]"])
        for piece in group:
            person = noise.pick(scenario.CREW["polish"])
            day = piece.days["polish"].isoformat()
            tab.add(piece.serial, day, piece.serial, piece.model, person, figure(losses[piece.serial], 1))
        sheets.append(Sheet(f"polish/polishing_{month}.csv", [tab]))
    return sheets


def _losses(pieces: list[Piece], seed: int) -> dict[str, float]:
    noise = Noise(seed, "polish")
    losses = {
        piece.serial: scenario.MASS_LOSS_G[piece.model] * (1.0 + noise.normal(scenario.MASS_LOSS_SD))
        for piece in pieces
    }
    quiet = [piece for piece in pieces if piece.model in QUIET_FAMILY]
    shares = _quiet(len(quiet), seed)
    losses.update(
        {p.serial: scenario.MASS_LOSS_G[p.model] * (1.0 + s) for p, s in zip(quiet, shares, strict=True)}
    )
    return losses


def _quiet(count: int, seed: int) -> list[float]:
    """Return independent figures of one mean and spread that merely look bad.

    Plain normal draws are made again until one set has long runs on a side of its mean and a piece close to
    the limits, while no split of it parts two levels that really differ. Nothing is added to any figure.
    """
    noise = Noise(seed, "polish-quiet")
    shares: list[float] = []
    for _ in range(TRIES):
        shares = [noise.normal(scenario.MASS_LOSS_SD) for _ in range(count)]
        if longest_run(shares) >= 9 and max(map(abs, shares)) > 0.38 and widest_split(shares) < 2.3:
            break
    return shares


def longest_run(values: list[float]) -> int:
    """Return the longest run of neighbours on one side of the mean.

    Examples
    --------
    >>> longest_run([1.0, 1.1, 1.2, -3.0, 1.0])
    3
    """
    mean = statistics.fmean(values)
    best = run = 0
    side = 0.0
    for value in values:
        run = run + 1 if (value - mean) * side > 0 else 1
        side = value - mean
        best = max(best, run)
    return best


def widest_split(values: list[float]) -> float:
    """Return the largest two-sample t statistic over all splits into an earlier and a later part.

    Examples
    --------
    >>> round(widest_split([0.0, 1.0, 0.0, 5.0, 6.0, 5.0]), 1)
    10.6
    """
    count = len(values)
    widest = 0.0
    for split in range(2, count - 1):
        left, right = values[:split], values[split:]
        pooled = (split - 1) * statistics.variance(left) + (count - split - 1) * statistics.variance(right)
        error = (pooled / (count - 2) * (1 / split + 1 / (count - split))) ** 0.5
        widest = max(widest, abs(statistics.fmean(left) - statistics.fmean(right)) / error)
    return widest


def lacquer_cards(flow: Flow, seed: int) -> list[Sheet]:
    """Return the lacquer workbooks, one a fortnight: a tab a spraying day, and one for the defects."""
    noise = Noise(seed, "lacquer")
    defects = Noise(seed, "defects")
    sheets = []
    for day, pieces in by_fortnight(flow.at("lacquer"), lambda piece: piece.days["lacquer"]):
        tabs = [_spraying(group, noise) for _, group in by_day(pieces, lambda piece: piece.days["lacquer"])]
        tabs.append(_defects(pieces, defects))
        sheets.append(Sheet(f"lacquer/lacquer_{day}.xlsx", tabs))
    return sheets


def _spraying(pieces: list[Piece], noise: Noise) -> Tab:
    day = pieces[0].days["lacquer"]
    head = [
        ("Card", "Lacquer card"),
        ("Date", day.isoformat()),
        ("Person", noise.pick(scenario.CREW["lacquer"])),
        ("Gauge", "EC-1"),
        ("Booth", pieces[0].nozzle),
        ("Batch", f"LK-{fortnight(day, scenario.FIRST_DAY) // 3 + 1:02d}"),  # a can lasts six weeks
    ]
    tab = Tab(day.isoformat(), head, ["Serial", "Model", "Area", "Spot", "Thickness [um]"])
    for piece in pieces:
        mean = scenario.LACQUER_UM + noise.normal(scenario.LACQUER_PIECE_SD_UM)
        mean += scenario.NOZZLE_UM if piece.nozzle == scenario.NEW_NOZZLE else 0.0
        for area, form in scenario.LACQUER_AREA_UM.items():
            for spot in range(1, SPOTS + 1):
                value = mean + form + noise.normal(scenario.LACQUER_SPOT_SD_UM)
                tab.add(piece.serial, piece.serial, piece.model, area, str(spot), figure(value, 1))
    return tab


def _defects(pieces: list[Piece], noise: Noise) -> Tab:
    head = [("Card", "Lacquer defects card")]
    tab = Tab("Defects", head, ["Date", "Serial", "Model", "Person", "Lacquer defects"])
    for piece in pieces:
        count = noise.poisson(scenario.DEFECTS_MEAN * scenario.AREA_FACTOR[piece.model])
        day = piece.days["lacquer"].isoformat()
        tab.add(
            piece.serial, day, piece.serial, piece.model, noise.pick(scenario.CREW["lacquer"]), str(count)
        )
    return tab
