"""Testers who blow apart are told of an instrument, on its page too, and those who agree are not."""

import numpy as np
import polars as pl

from qc.jobs.whole_piece.testers import notes_on_testers


def blown(offset, spread=1.0, seed=3, valve="open"):
    """Readings of six notes by two testers, the second `offset` cents sharper."""
    rng = np.random.default_rng(seed)
    rows = [
        {"partial": partial, "position": 1, "valve": valve, "person": who, "unit": "cent", "air_c": 20.0}
        | {"value": float(rng.normal(3.0 * partial + more, spread))}
        for who, more in (("RA", 0.0), ("KM", offset))
        for partial in (2, 3, 4, 5, 6, 8)
    ]
    # a diameter of the same instrument takes no part
    rows.append(rows[0] | {"partial": None, "unit": "mm", "value": 14.05})
    return pl.DataFrame(rows)


def test_a_tester_seven_cents_sharp_is_named_before_a_cut():
    (said,) = notes_on_testers(blown(7.0))
    assert "KM blows the same notes 7 cents sharper than RA" in said
    assert "reference instrument before a tube is cut" in said


def test_testers_who_agree_are_not_named():
    """Forty instruments on which both blow alike: asked for one in a hundred, at most three are named."""
    assert sum(notes_on_testers(blown(0.0, seed=seed)) != () for seed in range(40)) <= 3


def test_other_notes_or_one_tester_say_nothing():
    one, other = blown(7.0), blown(7.0, valve="F")
    both = pl.concat([one.filter(pl.col("person") == "RA"), other.filter(pl.col("person") == "KM")])
    assert notes_on_testers(both) == ()
    assert notes_on_testers(blown(7.0).filter(pl.col("person") == "RA")) == ()
    assert notes_on_testers(blown(7.0).clear()) == ()
