"""Tubes that wait in the rack, beside the slides of instruments on the same cards."""

from __future__ import annotations

import polars as pl

from qc.plan import TUBE_FIGURES


def loose_tubes(rows: pl.DataFrame) -> frozenset[str]:
    """Return the tubes that wait in the rack: of one side alone, and numbered as no whole slide is.

    Before a whole slide is known nothing tells a loose tube from a slide of which a side was forgotten.

    Parameters
    ----------
    rows : polars.DataFrame
        Readings, with columns ``serial`` and ``characteristic``.

    Returns
    -------
    frozenset of str
        Serials.

    Examples
    --------
    >>> figures = ["inner_od", "outer_bore", "inner_od", "inner_od"]
    >>> rows = pl.DataFrame({"serial": ["TB1", "TB1", "TB2", "IN7"], "characteristic": figures})
    >>> loose_tubes(rows)
    frozenset({'IN7'})
    """
    sides = rows.filter(pl.col("characteristic").is_in(list(TUBE_FIGURES))).group_by("serial")
    counted = sides.agg(pl.col("characteristic").n_unique().alias("sides")).with_columns(
        pl.col("serial").str.extract(r"^(\D*)", 1).alias("beginning")
    )
    whole = counted.filter(pl.col("sides") > 1)["beginning"].unique()
    if whole.is_empty():
        return frozenset()
    return frozenset(counted.filter(~pl.col("beginning").is_in(whole.implode()))["serial"])
