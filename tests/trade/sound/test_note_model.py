"""The linear model of a note set against a physical column, and what a fit must not depend on."""

import itertools
import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from qc import trade
from qc.trade import Instrument, Note, TradeError, Valve
from qc.trade.sound.note_set import note_design, slide_settings
from qc.trade.sound.separation import separate

BASS = Instrument(2944.9, (Valve("F", 986.07), Valve("G", 765.44)))
KEYS = [(n, k, ()) for k in (1, 2, 3, 4) for n in (2, 3, 4, 5)]
KEYS += [(n, 1, v) for n in (2, 3, 4, 5) for v in (("F",), ("G",), ("F", "G"))]
few = settings(max_examples=25, deadline=None)
seeds = st.integers(0, 2**32 - 1)


def sounding(key, lengths, air_c=20.0, tester=0.0, main_out=0.0, wrap_out=0.0):
    """Cents of one note against its tempered note: an instrument whose lengths are off, sounded.

    `lengths` holds mm too long: `main`, a valve's name, or a position's number (of slide).
    """
    partial, position, valves = key
    column = trade.column_mm(BASS, position, valves)
    extra = lengths.get("main", 0.0) + sum(lengths.get(v, 0.0) for v in valves) + 2 * main_out
    extra += 2 * lengths.get(position, 0.0) + (2 * wrap_out if valves else 0.0)
    air = math.sqrt((air_c + 273.15) / 293.15)
    sound = (
        1200 * math.log2(air * column / (column + extra)) + tester + lengths.get(f"partial {partial}", 0.0)
    )
    return sound + trade.harmonic_deviation(partial) + trade.combination_cents(BASS, valves)


def blown(lengths, keys=KEYS, noise=None, **more):
    off = np.zeros(len(keys)) if noise is None else noise
    return [
        Note(key[0], sounding(key, lengths) + e, key[1], key[2], **more)
        for key, e in zip(keys, off, strict=True)
    ]


@pytest.mark.parametrize("name", ["main", "valve:F", "valve:G", "position:2", "position:3", "position:4"])
def test_each_column_of_the_design_is_the_derivative_of_the_sounding_column(name):
    """Central differences over 0.02 mm of the physical column; the design states lengths in mm per cent."""
    design = note_design(blown({}), BASS)
    kind, _, rest = name.partition(":")
    part = "main" if kind == "main" else int(rest) if kind == "position" else rest
    step = 0.01
    slope = [(sounding(k, {part: step}) - sounding(k, {part: -step})) / (2 * step) for k in KEYS]
    column = design.matrix[:, design.names.index(name)]
    assert column / design.unit_mm == pytest.approx(slope, abs=1e-9)


def test_columns_of_partials_and_testers_mark_their_own_notes():
    notes = [Note(n, trade.harmonic_deviation(n), tester=t) for n in (2, 3) for t in ("AB", "CD")]
    design = note_design(notes, BASS)
    assert design.names == ("main", "partial:2", "partial:3", "tester:AB", "tester:CD")
    assert design.matrix[:, 1:].tolist() == [[1, 0, 1, 0], [1, 0, 0, 1], [0, 1, 1, 0], [0, 1, 0, 1]]
    assert note_design(notes[::2], BASS).names == ("main", "partial:2", "partial:3"), (
        "one tester is no factor"
    )


@few
@given(st.floats(15.0, 30.0), st.floats(-8.0, 8.0), st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_what_is_known_is_taken_off(air_c, tester, main_out, wrap_out):
    """Air, tester and slide settings are allowed for: what is left differs by the curvature of 40 mm only."""
    keys = [(2, 1, ()), (3, 2, ("F",)), (4, 1, ("F",))]
    notes = []
    for key in keys:
        cents = sounding(key, {}, air_c, tester, main_out, wrap_out)
        outs = {"main_out_mm": main_out, "wrap_out_mm": wrap_out if key[2] else None}
        notes.append(Note(key[0], cents, key[1], key[2], "AB", air_c=air_c, **outs))
        notes.append(Note(key[0], sounding(key, {}), key[1], key[2], main_out_mm=0.0, wrap_out_mm=0.0))
        notes.append(Note(key[0], sounding(key, {}), key[1], key[2], main_out_mm=0.0, wrap_out_mm=0.0))
    design = note_design(notes, BASS, tester_offsets={"AB": tester})
    assert slide_settings(notes)[0] == 0.0
    assert np.abs(design.deviations).max() < 0.5
    assert design.common[0] == pytest.approx(tester + trade.temperature_cents(air_c))


@few
@given(seeds)
def test_true_lengths_are_found_from_a_physical_instrument(seed):
    """Errors of some millimetres on a real (curved) column: recovered to 2 % of what is there and 0.1 mm."""
    rng = np.random.default_rng(seed)
    truth = {"main": rng.normal(0, 6), "F": rng.normal(0, 8), "G": rng.normal(0, 8)}
    truth |= {k: rng.normal(0, 2) for k in (2, 3, 4)}
    fit = trade.fit_note_set(blown(truth), BASS, reading_sd=1.0)
    size = sum(abs(v) for v in truth.values())
    for length in fit.lengths:
        name = length.part.removeprefix("valve:")
        assert length.error_mm == pytest.approx(truth[name], abs=0.1 + 0.02 * size)
    for mark in fit.positions:
        assert mark.error_mm == pytest.approx(truth[mark.position], abs=0.1 + 0.02 * size)


@few
@given(seeds)
def test_agrees_with_ordinary_least_squares_of_another_library(seed):
    """statsmodels on the same columns, partials coded against their mean: estimates and standard errors."""
    rng = np.random.default_rng(seed)
    notes = blown({"main": 3.0, "F": -5.0}, noise=rng.normal(0, 1.0, len(KEYS)))
    fit = trade.fit_note_set(notes, BASS, reading_sd=1.0)
    design = note_design(notes, BASS)
    lengths = [i for i, name in enumerate(design.names) if not name.startswith("partial:")]
    partials = [i for i, name in enumerate(design.names) if name.startswith("partial:")]
    contrasts = design.matrix[:, partials[:-1]] - design.matrix[:, [partials[-1]]]
    other = sm.OLS(design.deviations, np.column_stack([design.matrix[:, lengths], contrasts])).fit()
    assume(not fit.left_out)
    own = [*fit.lengths, *fit.positions]
    found = dict(zip([design.names[i] for i in lengths], other.params, strict=False))
    errors = dict(zip([design.names[i] for i in lengths], other.bse / math.sqrt(other.scale), strict=False))
    for figure in own:
        name = figure.part if hasattr(figure, "part") else f"position:{figure.position}"
        assert figure.error_mm == pytest.approx(found[name] * design.unit_mm, abs=1e-7)
        assert figure.standard_error_mm == pytest.approx(errors[name] * design.unit_mm, rel=1e-7)


@few
@given(seeds, st.randoms(use_true_random=False))
def test_the_order_of_the_notes_and_of_the_valves_of_a_note_do_not_matter(seed, order):
    rng = np.random.default_rng(seed)
    notes = blown({"main": 4.0}, noise=rng.normal(0, 2.0, len(KEYS)))
    mixed = list(notes)
    order.shuffle(mixed)
    first, second = (trade.fit_note_set(some, BASS, reading_sd=2.0) for some in (notes, mixed))
    for one, other in zip(first.lengths, second.lengths, strict=True):
        assert one.error_mm == pytest.approx(other.error_mm, abs=1e-8)
        assert one.interval_mm == pytest.approx(other.interval_mm, abs=1e-8)
    assert first.rms_before_cents == pytest.approx(second.rms_before_cents)


@few
@given(st.floats(0.7, 2.0), seeds)
def test_a_larger_instrument_with_the_same_cents_is_wrong_by_so_much_more(size, seed):
    """Cents are the same, so lengths scale with the instrument; partials and spreads stay."""
    rng = np.random.default_rng(seed)
    notes = blown({"main": 4.0, "G": 6.0}, noise=rng.normal(0, 2.0, len(KEYS)))
    large = Instrument(size * BASS.length_mm, tuple(Valve(v.name, size * v.added_mm) for v in BASS.valves))
    small_fit, large_fit = (trade.fit_note_set(notes, model, reading_sd=2.0) for model in (BASS, large))
    for one, other in zip(small_fit.lengths, large_fit.lengths, strict=True):
        assert other.error_mm == pytest.approx(size * one.error_mm, rel=1e-7)
        assert other.standard_error_mm == pytest.approx(size * one.standard_error_mm, rel=1e-7)
    for one, other in zip(small_fit.partials, large_fit.partials, strict=True):
        assert other.residual_cents == pytest.approx(one.residual_cents, abs=1e-8)


@few
@given(seeds, st.floats(-6.0, 6.0))
def test_a_partial_that_is_off_is_put_on_that_partial(seed, cents):
    """Raise one partial everywhere: its residual takes it, less its share of the sum-to-zero convention."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 1.0, len(KEYS))
    plain = trade.fit_note_set(blown({}, noise=noise), BASS, reading_sd=1.0)
    raised = trade.fit_note_set(blown({"partial 5": cents}, noise=noise), BASS, reading_sd=1.0)
    assume(not (plain.left_out or raised.left_out))
    moved = {
        p.partial: q.residual_cents - p.residual_cents
        for p, q in zip(plain.partials, raised.partials, strict=True)
    }
    assert moved == pytest.approx(dict.fromkeys((2, 3, 4), -cents / 4) | {5: 0.75 * cents}, abs=1e-8)
    rest = [q.error_mm - p.error_mm for p, q in zip(plain.lengths, raised.lengths, strict=True)]
    assert rest[0] == pytest.approx(-cents / 4 * BASS.length_mm / trade.CENTS_PER_NEPER, abs=1e-7)


def test_a_named_reference_partial_stands_at_nought_and_moves_the_level_only():
    notes = blown({"main": 2.0, "partial 3": 4.0, "partial 5": -6.0})
    zero_sum = trade.fit_note_set(notes, BASS, reading_sd=1.0)
    reference = trade.fit_note_set(notes, BASS, reading_sd=1.0, reference_partial=2)
    assert [p.partial for p in reference.partials] == [3, 4, 5], "the reference has no figure of its own"
    shift = {p.partial: p.residual_cents for p in zero_sum.partials}
    assert {p.partial: p.residual_cents for p in reference.partials} == pytest.approx(
        {n: shift[n] - shift[2] for n in (3, 4, 5)}, abs=1e-6
    )
    assert reference.length("main").error_mm == pytest.approx(2.0, abs=0.01), "where partial 2 is really true"
    assert zero_sum.length("main").error_mm == pytest.approx(2.0 + 0.5 * 2944.9 / 1731.234, abs=0.02)


def test_the_residuals_are_what_the_readings_keep():
    rng = np.random.default_rng(31)
    notes = blown({"main": 4.0}, noise=rng.normal(0, 1.5, len(KEYS)))
    fit = trade.fit_note_set(notes, BASS)
    design = note_design(notes, BASS)
    assert not fit.left_out
    assert sum(fit.residuals) == pytest.approx(0.0, abs=1e-8), "each partial has a level of its own"
    assert np.sqrt(np.mean(design.deviations**2)) == pytest.approx(fit.rms_before_cents)
    freedom = len(notes) - np.linalg.matrix_rank(separate(design).design)
    assert fit.freedom == freedom
    assert fit.reading_sd == pytest.approx(math.sqrt(np.sum(np.square(fit.residuals)) / freedom))


@pytest.mark.parametrize(("keys", "short"), [
    ([(2, 1, ()), (3, 1, ())], 2),
    ([(n, k, ()) for n in (2, 3) for k in (1, 2, 3)], 2),
    ([(n, k, ()) for n in (2, 3) for k in (2, 3)], 3),
    ([(2, 1, ()), (3, 1, ("F",))], 3),
    ([(2, 1, ("F",)), (3, 1, ("F",))], 3),
    (KEYS, 2),
])  # fmt: skip
def test_shortfall_is_columns_less_rank_by_another_route(keys, short):
    """numpy's matrix rank of all named columns and a common offset, trade check T041 among them."""
    design = note_design(blown({}, keys), BASS)
    whole = np.column_stack([design.matrix, np.ones(len(keys))])
    assert trade.design_shortfall(design) == short == whole.shape[1] - np.linalg.matrix_rank(whole)
    assert trade.design_shortfall(design, with_offset=False) == (
        design.matrix.shape[1] - np.linalg.matrix_rank(design.matrix)
    )


SETS = {
    "open in 1st": [(n, 1, ()) for n in (2, 3, 4)],
    "open without 1st": [(n, k, ()) for n in (2, 3) for k in (2, 3)],
    "F alone": [(n, 1, ("F",)) for n in (2, 3, 4)],
    "open and F": [(n, 1, v) for n in (2, 3, 4) for v in ((), ("F",))],
    "both valves together": [(n, 1, v) for n in (2, 3) for v in ((), ("F", "G"))],
    "all states": [(n, 1, v) for n in (2, 3) for v in ((), ("F",), ("G",), ("F", "G"))],
    "F off the stop": [*[(n, 1, ()) for n in (2, 3)], *[(n, 2, ("F",)) for n in (2, 3)]],
}


@pytest.mark.parametrize("keys", SETS.values(), ids=list(SETS))
def test_a_figure_is_given_exactly_where_the_notes_determine_it(keys):
    """Second route: a parameter is determined when no change of the others makes up for a change of it.

    Partials are held at a zero sum by a row of the system, as the convention is.
    """
    notes = blown({}, keys)
    design = note_design(notes, BASS)
    partials = design.columns("partial:")
    tie = np.zeros(len(design.names))
    tie[partials] = 1.0
    system = np.vstack([design.matrix, tie])
    fit = trade.fit_note_set(notes, BASS, reading_sd=1.0)
    for index, name in enumerate(design.names):
        others = np.delete(system, index, axis=1)
        free = np.linalg.matrix_rank(system) == np.linalg.matrix_rank(others)
        if name.startswith(("main", "valve:")):
            assert (fit.length(name).error_mm is None) == free, name
        elif name.startswith("position:"):
            assert (int(name[9:]) in {m.position for m in fit.positions}) != free, name
    said = " ".join(fit.not_separable)
    for length in fit.lengths:
        assert (length.error_mm is None) == (
            trade.part_words(length.part) in said.split(" cannot be told")[0]
        )


def test_what_would_tell_them_apart_does_tell_them_apart():
    """The extra notes that the words ask for, blown: then every figure is there."""
    for keys, extra in [
        (SETS["F alone"], [(2, 1, ())]),
        (SETS["both valves together"], [(2, 1, ("F",)), (3, 1, ("F",))]),
        (SETS["open without 1st"], [(2, 1, ()), (3, 1, ())]),
    ]:
        before = trade.fit_note_set(blown({}, keys), BASS, reading_sd=1.0)
        after = trade.fit_note_set(blown({}, [*keys, *extra]), BASS, reading_sd=1.0)
        assert any(length.error_mm is None for length in before.lengths)
        assert all(length.error_mm is not None for length in after.lengths)


@few
@given(
    st.integers(2, 10),
    st.integers(1, 7),
    st.sampled_from([-200.0, -100.0, 100.0, 200.0]),
    st.floats(-15.0, 15.0),
)
def test_a_slip_of_the_slide_is_answered_by_the_position_it_was(partial, position, slip, cents):
    """A reading a step or two off: the mend names the position and the cents that go with it."""
    meant = position - round(slip / 100.0)
    typed = trade.harmonic_deviation(partial) + slip + cents
    assume(1 <= meant <= 7 and abs(slip + cents) > 80.0)
    with pytest.raises(TradeError) as caught:
        trade.check_notes([Note(partial, typed, position)], BASS)
    assert f"write position {meant} and" in caught.value.hint
    trade.check_notes([Note(partial, typed - slip, meant)], BASS)


@pytest.mark.parametrize("octaves", [-2, -1, 1, 2])
def test_a_slip_of_octaves_is_called_so(octaves):
    with pytest.raises(TradeError) as caught:
        trade.check_notes([Note(4, 1200.0 * octaves + 7.0)], BASS)
    assert f"It is {abs(octaves)} octave off" in caught.value.hint
    assert (caught.value.index, caught.value.column) == (0, "cents")


def test_every_valve_state_has_its_own_middle_for_slips():
    """F notes a wrap 40 cents flat are no slips beside open notes in tune; one a step off among them is."""
    notes = [Note(n, trade.harmonic_deviation(n)) for n in (2, 3, 4, 5)]
    notes += [Note(n, trade.harmonic_deviation(n) - 40.0, 1, ("F",)) for n in (2, 3, 4, 5)]
    trade.check_notes(notes, BASS)
    with pytest.raises(TradeError, match="a slide step away") as caught:
        trade.check_notes([*notes, Note(4, 58.0, 2, ("F",))], BASS)
    assert caught.value.index == 8 and "position 1" in caught.value.hint


def test_known_testers_and_unknown_ones_are_worded():
    words = trade.fit_note_set(blown({}), BASS, reading_sd=1.0).not_separable
    assert words[-1].startswith("Main length and a common offset")
    known = trade.fit_note_set(
        blown({}, tester="AB"), BASS, reading_sd=1.0, tester_offsets={"AB": 0.0, "CD": 1.0}
    )
    assert known.not_separable[-1].startswith("The reference instrument tells the testers apart")


@pytest.mark.parametrize(("name", "words"), [
    ("main", "main length"), ("valve:G-flat", "G-flat wrap"), ("position:6", "mark of position 6"),
    ("partial:5", "partial 5"), ("tester:AB", "offset of tester AB"),
])  # fmt: skip
def test_words_of_the_bench_for_every_kind_of_part(name, words):
    assert trade.part_words(name) == words


def test_plain_values_of_a_fit_are_plain():
    fit = trade.fit_note_set(blown({}, tester="AB", sitting="mon"), BASS, reading_sd=1.0)
    values = fit.to_dict()
    assert values["freedom"] is None and values["sittings"] == 1
    flat = itertools.chain(values["lengths"], values["positions"], values["partials"])
    assert all(isinstance(entry, dict) for entry in flat)
    assert fit.lengths[0].to_dict()["part"] == "main"
    assert fit.positions[0].to_dict()["position"] == 2 and fit.partials[0].to_dict()["partial"] == 2
