"""The usual cautions of each stage, as shown beside a remedy.

They are reminders only. Local law, the site's own risk assessment, safety data sheets and competent or
licensed persons decide; nothing here says that a step may be done without them.
"""

from __future__ import annotations

from qc.trade.errors import TradeError

DEFER = (
    "Usual cautions only: local rules, the shop's risk assessment, safety data sheets and competent or "
    "licensed persons decide."
)
"""Stands under every list of cautions."""

CAUTIONS: dict[str, tuple[str, ...]] = {
    "tuning": (
        "Play-test warm, with breaks and a clean mouthpiece; loud testing counts as noise exposure.",
        "A cut cannot be undone: cut at the cautious end, deburr, re-test before the next cut.",
    ),
    "cutting": (
        "Lathe and saw: no gloves, loose sleeves, rings or long hair near rotating work; chuck key out; "
        "emery held, never wrapped.",
    ),
    "adding": (
        "Adding tube means re-brazing or soldering: heat near lacquer burns it and gives off fumes; strip or "
        "shield it first, extract the fume.",
        "Use cadmium-free filler; filler and joints of old instruments may hold cadmium, whose fume harms "
        "lungs and kidneys. Keep fluxes off the skin.",
        "Gas bottles, hoses and flash-back arrestors belong to a competent person; hot work needs a fire "
        "watch.",
    ),
    "soldering": ("Soft solder: lead-free on anything handled or mouthed; wash hands; extract flux smoke.",),
    "pickling": (
        "Acid into water, never the other way; extraction, eyewash, gloves, face shield; spent liquor is "
        "special waste.",
    ),
    "plating": (
        "Hexavalent chromium is a proven carcinogen by inhalation; plating is normally done outside the "
        "shop.",
    ),
    "drawing": (
        "Draw bench: broken tube and chain whip; guards, two-hand or interlocked start, nobody in the line "
        "of draw.",
        "Jam: lock out and isolate the energy before clearing; only trained, authorised persons.",
        "Long tube bundles: lift with a second person or a hoist.",
    ),
    "slide": (
        "Ammonia cleaners can crack brass that holds stress; solvents need ventilation and no ignition "
        "source.",
    ),
    "polishing": (
        "Guard spindle ends, secure hair and clothing, extract dust, eye and hearing protection; parts "
        "snatched by a mop are the usual injury.",
        "Hand-arm vibration adds up over the day: UK practice acts at 2.5 and limits at 5 m/s2.",
    ),
    "lacquer": (
        "Solvents: vapour creeps along floors and can explode; no ignition sources, rated booth and "
        "electrics, bonded containers.",
        "Two-pack hardeners may hold isocyanates, which sensitise lungs: air-fed mask, kept on until the "
        "booth has cleared; health surveillance.",
    ),
    "leak": ("Pressurise only with a regulator and relief; a few tens of millibar are enough for a leak "
    "test.",),
}  # fmt: skip
"""Usual cautions by stage. Sources: HSE information sheet EIS31 and spray pages, plating guidance sheet, acid
treatment sheet, university shop manual, polishing-safety article, summaries of UK noise and vibration rules;
the rest common practice, no source."""


def cautions_for(*stages: str) -> tuple[str, ...]:
    """Give the usual cautions of one or more stages, each once, and who decides.

    Parameters
    ----------
    *stages : str
        Keys of `CAUTIONS`.

    Returns
    -------
    tuple of str
        Sentences; the last says that local rules and competent persons decide.

    Raises
    ------
    TradeError
        A stage without cautions.

    Examples
    --------
    >>> cautions_for("soldering")[0].split(":")[0]
    'Soft solder'
    """
    sentences: dict[str, None] = {}
    for stage in stages:
        if stage not in CAUTIONS:
            raise TradeError(f"no cautions for {stage!r}", f"Known stages: {', '.join(CAUTIONS)}")
        sentences.update(dict.fromkeys(CAUTIONS[stage]))
    return (*sentences, DEFER)
