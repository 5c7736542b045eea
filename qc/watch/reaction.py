"""What to do about a series that moved: three steps that always come first, then its own; usual cautions.

A change for the better has steps of its own: nothing is to be mended, and what made it is worth keeping.

Command and board ask here; where the newest piece and the gauges in use are at hand, they are named.
"""

from __future__ import annotations

from collections.abc import Sequence

from qc.watch.results import Point, SignalResult

NEWEST_FOR_GAUGES = 10
"""Points looked at for the gauges in use now (house rule)."""

_ZERO, _SECOND = ", then check the gauge's zero.", " again, and let a second person look."
_KEEP = "; if it holds, find out what changed and keep it."

DEFER = "These are usual cautions. Local rules, the shop's own assessment and a competent person decide."
DEFER_ELSE = "The shop's own assessment and a competent person decide too."


def first_steps(
    newest: str | None = None, gauges: Sequence[str] = (), kind: str = "measured"
) -> tuple[str, ...]:
    """Return the steps that come first in every reaction (common practice, no source).

    Parameters
    ----------
    newest : str, optional
        Serial of the newest piece, empty before there is one; None says the steps of no piece in particular.
    gauges : sequence of str
        Ids of the gauges in use on the newest pieces.
    kind : str
        Kind of the figure: what is counted, or passes or fails, is seen by a person and has no zero.

    Examples
    --------
    >>> first_steps()[1], first_steps("A-0418", ["G-1"])[1]
    ("Check the gauge's zero.", 'Check the zero of G-1 on its master.')
    >>> first_steps("A-0418", kind="pass-fail")[0]
    'Look at A-0418 again.'
    """
    if kind != "measured":
        return (
            f"Look at {newest or 'the newest piece'} again.",
            "Let a second person look at it who does not know the first answer.",
            "Check serial and figure on the card.",
        )
    if newest is None:
        return (
            "Re-measure the newest piece.",
            "Check the gauge's zero.",
            "Check the serial and the unit on the card.",
        )
    gauge = " and ".join(gauges) or "the gauge"
    return (
        f"Re-measure {newest or 'the newest piece'}.",
        f"Check the zero of {gauge} on {'their masters' if len(gauges) > 1 else 'its master'}.",
        "Check serial and unit on the card.",
    )


def again_step(newest: str, kind: str = "measured") -> str:
    """Return what a finding asks for where its plan names no step of its own: the first steps, in short.

    Examples
    --------
    >>> again_step("A-0418"), again_step("A-0418", "count")
    ("Re-measure A-0418, then check the gauge's zero.", 'Look at A-0418 again, and let a second person look.')
    """
    if kind == "measured":
        return f"Re-measure {newest}{_ZERO}"
    return f"Look at {newest}{_SECOND}"


def is_again_step(step: str) -> bool:
    """Say whether a step is that of `again_step`: among all steps it stands as the first ones already."""
    return step.endswith((_ZERO, _SECOND, _KEEP))


def is_good_news(signal: SignalResult, kind: str = "measured") -> bool:
    """Say whether a finding is a change for the better by itself: pieces scatter less, or have fewer faults.

    Parameters
    ----------
    signal : SignalResult
        The finding.
    kind : str
        Kind of the figure.
    """
    if signal.kind == "spread":
        return signal.side == "below" or (signal.side == "both" and (signal.size or 0.0) < 0)
    return kind != "measured" and signal.kind != "single" and signal.side == "below"


def better_step(newest: str, kind: str = "measured") -> str:
    """Return what a change for the better asks for, in short: first whether it is one.

    Examples
    --------
    >>> better_step("A-0418")
    'See that the gauge is not stuck or rounding; if it holds, find out what changed and keep it.'
    """
    if kind == "measured":
        return f"See that the gauge is not stuck or rounding{_KEEP}"
    return f"See that {newest} was looked at as those before it{_KEEP}"


def better_steps(newest: str = "", gauges: Sequence[str] = (), kind: str = "measured") -> tuple[str, ...]:
    """Return the steps after a change for the better (common practice, no source).

    What looks like less scatter may be a gauge that hangs or figures that were rounded or copied, so that is
    seen to first. Nothing is to be mended, so the plan's steps for trouble have no place.

    Parameters
    ----------
    newest, gauges, kind
        As for `first_steps`.

    Examples
    --------
    >>> better_steps("A-0418", ["G-1"])[0]
    'Move G-1 between two masters or two places: it must follow, and show its last digit.'
    """
    piece = newest or "the newest piece"
    if kind == "measured":
        gauge = " and ".join(gauges) or "the gauge"
        first = (
            f"Move {gauge} between two masters or two places: it must follow, and show its last digit.",
            "Look through the newest cards: figures that were rounded or copied scatter less, too.",
        )
    else:
        first = (
            f"Look at {piece} again: in the same light, and by the same rule of what is a fault.",
            "Let a second person look at it who does not know the first answer.",
        )
    return (
        *first,
        "If it holds it is good news: find out what changed when it began, and write it down.",
        "Keep it: tell the bench, and close the signal as stays: the next pieces are held against it.",
    )


def reaction_steps(
    reaction: Sequence[str],
    own: str = "",
    newest: str | None = None,
    gauges: Sequence[str] = (),
    kind: str = "measured",
    *,
    better: bool = False,
) -> tuple[str, ...]:
    """Return all steps, each once: those that come first, then the finding's own, then the plan's.

    Parameters
    ----------
    reaction : sequence of str
        Steps of the plan for the figure.
    own : str
        What the finding asks for.
    newest, gauges, kind
        As for `first_steps`.
    better : bool
        The finding is good news (`is_good_news`), and has steps of its own.
    """
    if better:
        return better_steps(newest or "", gauges, kind)
    mine = [own] if own and not is_again_step(own) else []
    return tuple(dict.fromkeys([*first_steps(newest, gauges, kind), *mine, *reaction]))


def steps_for(
    points: Sequence[Point],
    reaction: Sequence[str],
    own: str = "",
    kind: str = "measured",
    *,
    better: bool = False,
    found: SignalResult | None = None,
) -> tuple[str, ...]:
    """Return all steps about a series, the piece to look at again and the gauges in use named.

    Parameters
    ----------
    points : sequence of Point
        The series, in order of making.
    reaction, own, kind, better
        As for `reaction_steps`.
    found : SignalResult, optional
        What the steps are about, see `piece_again`.
    """
    again = piece_again(points, found)
    return reaction_steps(reaction, own, again, gauges_in_use(points), kind, better=better)


def piece_again(points: Sequence[Point], found: SignalResult | None) -> str:
    """Return the piece that shows a finding: the newest, but of one that has passed a piece of its own.

    A piece apart from the rest is that piece, and a change that is over is shown by its last one: of the
    newest piece neither says anything.
    """
    if found is not None and found.kind == "single":
        return found.start_serial
    own = points
    if found is not None and found.ended is not None:
        own = [point for point in points if found.start <= point.ordinal < found.ended] or points
    return own[-1].serial if own else ""


def gauges_in_use(points: Sequence[Point]) -> tuple[str, ...]:
    """Return the ids of the gauges that the newest pieces were measured with."""
    named = [name for point in points[-NEWEST_FOR_GAUGES:] for name in point.gauge.split(" + ") if name]
    return tuple(dict.fromkeys(named))


def caution_words(cautions: Sequence[str]) -> str:
    """Return the usual cautions of a stage and who decides; empty where there are none.

    Where the plan's own cautions defer to the local rules already, they are not named a second time.
    """
    said = " ".join(cautions)
    return f"{said} {DEFER_ELSE if 'local rules' in said.lower() else DEFER}" if cautions else ""
