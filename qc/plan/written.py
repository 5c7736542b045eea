"""What can be written on a card: for whoever types it, prints it, points at it or asks what is missing."""

from __future__ import annotations

from qc.plan.columns import CLEARANCE_READ, TUBE_FIGURES
from qc.plan.model import Card, Characteristic, Plan


def figures_written(plan: Plan, card: Card) -> tuple[Characteristic, ...]:
    """Return the characteristics that can be written on a card, in its order.

    Of a slide card that lists nothing they are the figures of its tubes: its reader knows them by name, so
    they are no figures by which the card is told from others (`Plan.figures_on`).

    Examples
    --------
    >>> from qc.plan import Plan, Shop, Stage
    >>> bore = Characteristic(id="outer_bore", name="Bore", unit="mm")
    >>> slide = Stage(id="slide", name="Slide", characteristics=(bore,))
    >>> card = Card(id="slide-card", title="Slide card", source="slide", stage="slide")
    >>> plan = Plan(workshop=Shop(name="Mill"), models=(), stages=(slide,), cards=(card,))
    >>> [one.id for one in figures_written(plan, card)], plan.figures_on(card)
    (['outer_bore'], ())
    """
    own = plan.figures_on(card)
    if own or card.source != "slide":
        return own
    # a card that gives clearances instead of two diameters stands in for both
    for names in (TUBE_FIGURES, (CLEARANCE_READ,)):
        found = (plan.characteristic(card.stage or "", name) for name in names)
        if there := tuple(one for one in found if one is not None):
            return there
    return ()
