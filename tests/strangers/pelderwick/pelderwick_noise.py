"""How the figures of Pelderwick scatter, what happens to some of them, and the truth about both."""

import math
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pelderwick_shop import Figure, card_of, target_of

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

FIRST_CHANGE = 25  # pieces of a series before anything may change
AR_WEIGHT = 0.5  # lag-1 of the slow part where neighbours hang together only in part
NORMAL = NormalDist()


@dataclass
class Entry:
    """One piece on one kind of card: which day, by whom, with what."""

    serial: str
    model: str
    day: int
    person: str
    gauges: dict[str, str]
    tool: str = ""
    batch: str = ""


@dataclass
class Series:
    """Pieces judged together, how they scatter, and what changes; offsets and sizes in sd."""

    figure: Figure
    pool: str
    group: str
    models: tuple[str, ...]
    entries: list[Entry]
    batches: list[str]
    mean: float
    sd: float
    step: float
    noise: str
    lot_share: float = 0.0
    lot_by: str | None = None
    rho: float = 0.0
    core: str = "normal"
    within: float = 0.0
    offsets: dict[str, float] = field(default_factory=dict)
    tool_effects: dict[str, float] = field(default_factory=dict)
    half_width: float | None = None
    add: Floats = field(default_factory=lambda: np.zeros(0))
    scale: Floats = field(default_factory=lambda: np.zeros(0))
    changes: list[dict[str, Any]] = field(default_factory=list)

    @property
    def slow(self) -> float:
        """Share of the variance in which neighbours hang together."""
        if self.rho == 0:
            return 0.0
        return 1 - self.within if self.noise == "correlated" else self.rho / AR_WEIGHT

    @property
    def rest(self) -> float:
        """Share of the variance that is each piece's own."""
        return max(0.0, 1 - self.within - self.lot_share - self.slow)

    def limits(self) -> tuple[float | None, float | None]:
        """Give the lower and upper limit as deviations from the target."""
        if self.half_width is None:
            return None, None
        kind = self.figure.limits
        return (None if kind == "upper" else -self.half_width, None if kind == "lower" else self.half_width)


def give_noise(series: Series, kept_tools: bool, rng: np.random.Generator) -> None:
    """Draw which noise a series has; `kept_tools` says that its tools rotate and none is replaced."""
    kind = series.noise
    if kind in ("counts", "passfail"):
        return
    if series.figure.places:
        series.within = round(float(rng.uniform(0.1, 0.25)), 3)
    parts = {kind}
    if kind == "mixed":
        parts = [{"lots", "t5"}, {"lots", "correlated"}, {"t5", "correlated"}][int(rng.integers(3))]
    if "lots" in parts:
        ways = ["day", "unrecorded"] + ["batch"] * 2 * any(series.batches) + ["tool"] * kept_tools
        series.lot_by = str(rng.choice(ways))
        series.lot_share = round(float(rng.uniform(0.2, 0.3 if kind == "mixed" else 0.4)), 3)
    if "correlated" in parts:
        series.rho = round(float(rng.uniform(0.1, 0.2 if kind == "mixed" else 0.3)), 3)
    if "t5" in parts:
        series.core = "t5"
    if kind == "skewed":
        series.core = "skewed"
    if len(series.models) > 1 and len(series.figure.targets) > 1 and rng.random() < 0.35:
        series.offsets = {model: round(float(rng.uniform(-0.4, 0.4)), 3) for model in series.models}
    if series.lot_by == "tool":
        tools = [entry.tool for entry in series.entries]
        names = sorted(set(tools))
        raw = rng.normal(size=len(names))
        drawn = np.array([raw[names.index(tool)] for tool in tools])
        spread = max(float(drawn.std()), 1e-9) if len(names) > 1 else 1.0
        series.tool_effects = {
            name: round(float((raw[i] - drawn.mean()) / spread), 4) for i, name in enumerate(names)
        }


def _by_lot(labels: list[str], rng: np.random.Generator) -> Floats:
    """Give each piece the effect of its lot."""
    effects: dict[str, float] = {}
    for label in labels:
        effects.setdefault(label, float(rng.normal()))
    return np.array([effects[label] for label in labels])


def _hidden_lots(n: int, rng: np.random.Generator) -> list[str]:
    """Cut n pieces into lots of 4 to 8 that stand on no card."""
    labels: list[str] = []
    while len(labels) < n:
        labels += [str(len(labels))] * int(rng.integers(4, 9))
    return labels[:n]


def _log_sd(series: Series) -> float:
    """Sd of the logarithm of a skewed figure that begins at zero."""
    return math.sqrt(math.log1p((series.sd * math.sqrt(series.rest) / series.mean) ** 2))


def unchanged(series: Series, rng: np.random.Generator) -> Floats:
    """Draw the unchanged scatter of each piece, in sd, without the scatter within a piece."""
    n = len(series.entries)
    if series.core == "t5":
        own = rng.standard_t(5, n) * math.sqrt(3 / 5)
    elif series.core == "skewed":
        log_sd = _log_sd(series)
        own = np.expm1(log_sd * rng.normal(size=n) - log_sd**2 / 2) / math.sqrt(math.expm1(log_sd**2))
    else:
        own = rng.normal(size=n)
    scatter = math.sqrt(series.rest) * own
    if series.lot_by == "tool":
        effects = np.array([series.tool_effects[entry.tool] for entry in series.entries])
        scatter = scatter + math.sqrt(series.lot_share) * effects
    elif series.lot_by is not None:
        labels = {
            "batch": series.batches,
            "day": [str(entry.day) for entry in series.entries],
            "unrecorded": _hidden_lots(n, rng),
        }[series.lot_by]
        scatter = scatter + math.sqrt(series.lot_share) * _by_lot(labels, rng)
    if series.rho:
        weight = series.rho if series.noise == "correlated" else AR_WEIGHT
        slow = rng.normal(size=n)
        for i in range(1, n):
            slow[i] = weight * slow[i - 1] + math.sqrt(1 - weight**2) * slow[i]
        scatter = scatter + math.sqrt(series.slow) * slow
    offsets = np.array([series.offsets.get(entry.model, 0.0) for entry in series.entries])
    return np.asarray(scatter + offsets, dtype=np.float64)


# -------------------------------------------------------------------------------- what happens


def _size(low: float, high: float, upward: bool, rng: np.random.Generator) -> float:
    """Draw a size; of either sign unless it must be upward."""
    size = float(rng.uniform(low, high))
    return round(size if upward or rng.random() < 0.5 else -size, 3)


def _stretch(mask: Flags, rng: np.random.Generator) -> tuple[Flags, bool]:
    """Half the time end a change after 25 to 70 pieces; say whether it lasts to the end."""
    first = int(np.flatnonzero(mask)[0])
    last = first + int(rng.integers(25, 71))
    if rng.random() < 0.5 or last >= len(mask) - 5:
        return mask, True
    ended = mask.copy()
    ended[last:] = False
    return ended, False


def _labelled(series: Series, kind: str) -> list[str]:
    """Give the word on the card for each piece: person, gauge, batch or tool."""
    if kind == "person":
        return [entry.person for entry in series.entries]
    if kind == "gauge":
        return [entry.gauges.get(series.figure.gauge, "") for entry in series.entries]
    return series.batches if kind == "batch" else [entry.tool for entry in series.entries]


def _caused(series: Series, kind: str, start: int, new_tool: str, rng: np.random.Generator) -> bool:
    """Add a shift that comes with a word on the card; say whether there was room for it."""
    labels = np.array(_labelled(series, kind))
    if kind == "tool":
        if not new_tool or np.any(labels[:FIRST_CHANGE] == new_tool):
            return False
        words, least = [new_tool], 8
    elif kind == "batch":
        words = [w for w in dict.fromkeys(labels[start:]) if w and not np.any(labels[:start] == w)]
        least = 4
    else:
        words, least = sorted({w for w in labels[start:] if w}), 8
        if kind == "person" and len(words) < 2:
            return False
    after = np.arange(len(labels)) >= start
    fitting = [w for w in words if np.sum(after & (labels == w)) >= least]
    if not fitting:
        return False
    word = str(rng.choice(fitting))
    mask = np.asarray(
        (labels == word) & (after if kind != "tool" else np.ones(len(labels), bool)), dtype=np.bool_
    )
    lasting = True
    if kind in ("person", "gauge"):
        mask, lasting = _stretch(mask, rng)
    elif kind == "batch":
        lasting = False
    low, high = {"person": (1.5, 2.0), "gauge": (1.0, 2.0), "batch": (1.5, 2.5), "tool": (1.0, 2.0)}[kind]
    size = _size(low, high, series.noise in ("skewed", "counts", "passfail"), rng)
    series.add[mask] += size
    _note(series, "shift", mask, lasting, size, {"kind": kind, "value": word, "recorded": True})
    return True


def _uncaused(series: Series, kind: str, start: int, rng: np.random.Generator) -> bool:
    """Add a change with which nothing on the cards coincides."""
    n = len(series.entries)
    index = np.arange(n)
    mask: Flags = np.asarray(index >= start, dtype=np.bool_)
    upward = series.noise in ("skewed", "counts", "passfail")
    lasting, cause = False, "none"
    if kind == "single":
        mask = np.asarray(index == start, dtype=np.bool_)
        size = _size(5.8, 6.4, upward, rng)
        series.add[mask] += size
    elif kind == "trend":
        mask &= index < start + int(rng.integers(30, 61))
        size = _size(0.03, 0.06, upward, rng)
        series.add[mask] += size * (index[mask] - start + 1)
        lasting = bool(mask[-1])
    elif kind == "spread":
        mask, lasting = _stretch(mask, rng)
        size = 2.0
        series.scale[mask] *= size
    elif kind == "lot":
        mask &= index < start + int(rng.integers(5, 11))
        size, cause = _size(1.5, 2.5, upward, rng), "batch"
        series.add[mask] += size
    else:
        mask, lasting = _stretch(mask, rng)
        size = _size(1.0, 1.75, upward, rng)
        series.add[mask] += size
    named = {"trend": "trend", "spread": "spread", "single": "single"}.get(kind, "shift")
    _note(series, named, mask, lasting, size, {"kind": cause, "value": None, "recorded": False})
    return True


def _note(series: Series, kind: str, mask: Flags, lasting: bool, size: float, cause: dict[str, Any]) -> None:
    """Write a change into the truth."""
    touched = np.flatnonzero(mask)
    first, last = series.entries[int(touched[0])], series.entries[int(touched[-1])]
    series.changes.append(
        {
            "kind": kind,
            "first_serial": first.serial,
            "last_serial": None if lasting else last.serial,
            "size_sd": size,
            "cause": cause,
            "touched": [series.entries[int(i)].serial for i in touched],
            "from": int(touched[0]),
            "to": int(touched[-1]),
        }
    )


def draw_changes(series: Series, new_tool: str, rng: np.random.Generator) -> None:
    """Let one or two things happen to a series; the first never before its 25th piece."""
    n = len(series.entries)
    kinds = ["person", "person", "gauge", "gauge", "batch", "batch", "tool", "tool"]
    kinds += ["none", "none", "trend", "trend", "spread", "single", "lot"]
    barred = {"skewed": {"spread"}, "counts": {"spread", "trend"}, "passfail": {"spread", "trend", "single"}}
    kinds = [kind for kind in kinds if kind not in barred.get(series.noise, set())]
    start = int(rng.integers(FIRST_CHANGE, max(FIRST_CHANGE + 1, int(n * 0.6))))
    for _ in range(2 if rng.random() < 0.35 else 1):
        for kind in rng.permutation(kinds):
            caused = kind in ("person", "gauge", "batch", "tool")
            if caused and _caused(series, str(kind), start, new_tool if not series.changes else "", rng):
                break
            if not caused and _uncaused(series, str(kind), start, rng):
                break
        # A second change needs a settled stretch before it, or none is drawn.
        start = max(int(change["to"]) for change in series.changes) + int(rng.integers(20, 35))
        if start > n - 12:
            return


# -------------------------------------------------------------------------------- truth


def _core_share_below(series: Series, x: Floats) -> Floats:
    """Share of a piece's own scatter (sd 1) below x."""
    if series.core == "t5":
        angle = np.arctan(x * math.sqrt(5 / 3) / math.sqrt(5))
        wave = np.sin(angle) * np.cos(angle) * (1 + 2 / 3 * np.cos(angle) ** 2)
        return np.asarray(0.5 + (angle + wave) / math.pi, dtype=np.float64)
    if series.core == "skewed":
        log_sd = _log_sd(series)
        part = 1 + x * math.sqrt(math.expm1(log_sd**2))
        z = np.where(part > 0, np.log(np.maximum(part, 1e-300)) / log_sd + log_sd / 2, -40.0)
        return np.array([NORMAL.cdf(float(each)) for each in z])
    return np.array([NORMAL.cdf(float(each)) for each in x])


def share_outside(series: Series, center: float) -> float | None:
    """Share of the unchanged process outside its limits, unrounded; `center` is its mean off target."""
    lower, upper = series.limits()
    if lower is None and upper is None:
        return None
    tool = series.lot_by == "tool"
    lots = series.lot_share if tool else 0.0
    # Normal parts are folded into a core of another shape by quadrature; a normal core takes them in exactly.
    own = 1 - lots if series.core == "normal" else series.rest
    smooth = math.sqrt(max(0.0, 1 - lots - own))
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = weights / weights.sum()
    effects = [
        series.offsets.get(entry.model, 0.0)
        + (math.sqrt(lots) * series.tool_effects[entry.tool] if tool else 0.0)
        for entry in series.entries
    ]
    outside = 0.0
    for effect in sorted(set(effects)):
        part = 0.0
        at = effect + smooth * nodes
        root = math.sqrt(own)
        if lower is not None:
            part += float(weights @ _core_share_below(series, ((lower - center) / series.sd - at) / root))
        if upper is not None:
            part += float(
                weights @ (1 - _core_share_below(series, ((upper - center) / series.sd - at) / root))
            )
        outside += part * effects.count(effect) / len(effects)
    return outside


def truth_of(series: Series) -> dict[str, Any]:
    """Give the truth about a series; in a pool of several models, figures are deviations from the target."""
    model = series.models[0] if len(series.models) == 1 else None
    targets = {name: target_of(series.figure, name) for name in series.models}
    one = next(iter(targets.values())) if len(set(targets.values())) == 1 else None
    base = one if one is not None else 0.0
    stage = card_of(series.figure).stage
    lower, upper = series.limits()
    outside = share_outside(series, series.mean - targets[series.models[0]])
    ppk = None if outside is None else -NORMAL.inv_cdf(min(max(outside, 1e-15), 1 - 1e-15)) / 3
    hidden = {"from", "to"}
    return {
        "series": f"{stage}/{series.figure.id}/{series.group}",
        "stage": stage,
        "characteristic": series.figure.id,
        "model": model,
        "pool": series.pool,
        "models": list(series.models),
        "figures_are": "readings" if one is not None else "deviations from the target",
        "targets": targets,
        "noise": series.noise,
        "mean": round(series.mean - targets[series.models[0]] + base, 6),
        "sd": round(series.sd, 6),
        "model_offsets_sd": series.offsets,
        "lot_share": series.lot_share,
        "lot_by": series.lot_by,
        "correlation": round(
            series.rho * (1 - series.within) if series.noise == "correlated" else series.rho, 4
        ),
        "tails": 5 if series.core == "t5" else None,
        "within_share": series.within,
        "places": math.prod(len(values) for values in series.figure.places.values()),
        "gauge_step": series.step,
        "lower": None if lower is None else round(lower + base, 6),
        "upper": None if upper is None else round(upper + base, 6),
        "true_ppk": None if ppk is None else round(ppk, 4),
        "pieces": len(series.entries),
        "changes": [{k: v for k, v in change.items() if k not in hidden} for change in series.changes],
    }
