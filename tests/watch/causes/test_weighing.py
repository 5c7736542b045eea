import numpy as np
import pytest
from scipy import stats

from qc.watch.causes.weighing import Prior, Scale, Weighable, filled, is_new, onsets_of, split

N = 40


def stretch(values, first=18, last=22, **told):
    """A step upward of a series of four times as many pieces, unless told otherwise."""
    plain = {"side": 1, "kind": "step", "lines": np.zeros((len(values), 0)), "whole": 160}
    return Weighable(values=np.asarray(values, dtype=float), first=first, last=last, **(plain | told))


def stepped(rng, size=2.0, at=20):
    return rng.standard_normal(N) + size * (np.arange(N) >= at)


def test_the_share_explained_is_that_of_a_regression_by_a_general_library(rng):
    """Squared correlation with a 0/1 regressor, by `scipy.stats.linregress`; nothing is drawn in here."""
    values = stepped(rng)
    scale = Scale(stretch(values))
    scale._values = scale._without(values)  # before wild readings are drawn in
    for start in range(18, 23):
        mask = (np.arange(N) >= start).astype(float)
        expected = stats.linregress(mask, values).rvalue ** 2
        assert scale._share(mask)[0] == pytest.approx(expected, rel=1e-9)
        assert scale._shares(np.ones(N), np.array([start]), np.array([N]))[0, 0] == pytest.approx(expected)


def test_lines_that_run_through_anyway_are_taken_off(rng):
    """The same share as that of the last regressor in an ordinary least squares fit with the line."""
    line = np.linspace(-1, 1, N)
    values = stepped(rng) + 3 * line
    scale = Scale(stretch(values, lines=line[:, None]))
    scale._values = scale._without(values)
    mask = (np.arange(N) >= 20).astype(float)

    def rest(*columns):
        base = np.column_stack([np.ones(N), *columns])
        return np.linalg.lstsq(base, values, rcond=None)[1][0]

    assert scale._share(mask)[0] == pytest.approx(1 - rest(line, mask) / rest(line), rel=1e-9)


def test_what_points_the_other_way_explains_nothing(rng):
    scale = Scale(stretch(stepped(rng, 4.0)))
    before = (np.arange(N) < 20).astype(float)
    assert scale._share(before)[0] == 0.0
    assert Scale(stretch(np.ones(N))).nothing == 0.0
    assert not Scale(stretch(np.ones(N))).speaks


def test_a_new_level_at_the_start_beats_one_that_begins_often(rng):
    scale = Scale(stretch(stepped(rng, 3.0)))
    own = (np.arange(N) >= 20).astype(float)
    how, at, rare = scale.level(own, 20, 1, 2, Prior(0.2))
    assert (how, at) == ("new", 20)
    _, _, often = scale.level(own, 20, 30, 2, Prior(0.2))
    assert rare == pytest.approx(often * 29.5 / 0.5)
    assert rare > 2 > often


def test_the_likeliest_starts_are_the_fewest_that_hold_the_share(rng):
    """A clear step: its own place alone. Hardly a step: no fewer places hold as much, and these do."""
    assert Scale(stretch(stepped(rng, 12.0))).likeliest(0.9) == (20, 20)
    scale = Scale(stretch(stepped(rng, 0.5), 5, 35))
    first, last = scale.likeliest(0.9)
    each = scale._summed(np.ones(N))
    held = np.sort(each)[::-1]
    fewest = next(n for n in range(1, each.size + 1) if held[:n].sum() >= 0.9 * each.sum())
    assert last - first + 1 >= fewest > 5
    assert each[first - 5 : last - 4].sum() >= 0.9 * each.sum()


def test_half_of_the_pieces_off_tell_whose_they_are(rng):
    theirs = (np.arange(N) % 2).astype(float)
    values = rng.standard_normal(N) + 4 * theirs * (np.arange(N) >= 20)
    scale = Scale(stretch(values))
    how, at, odds = scale.level(theirs, None, 0, 2, Prior(0.2, half_way=0.5))
    assert (how, at) == ("since", 21) and odds > 100
    _, _, others = scale.level(1 - theirs, None, 0, 2, Prior(0.2, half_way=0.5))
    assert others < 0.01
    assert scale.level(theirs, None, 0, 2, Prior(0.2)) == ("new", 0, 0.0)


def test_who_was_off_all_along_is_told_so(rng):
    """Seldom at the bench before, mostly since: the level moves although nobody changed."""
    theirs = np.isin(np.arange(N), [3, 9, 14]) | ((np.arange(N) >= 20) & (np.arange(N) % 4 > 0))
    values = rng.standard_normal(N) + 4 * theirs
    how, _, odds = Scale(stretch(values)).level(theirs.astype(float), None, 0, 2, Prior(0.2, half_way=0.5))
    assert how == "throughout" and odds > 10


def test_an_excursion_that_ends_with_its_batch_speaks_for_it(rng):
    """Both batches begin at the start; one ends with the excursion, the other goes on."""
    values = rng.standard_normal(N)
    values[20:26] += 4
    scale = Scale(stretch(values, 19, 21))
    short = ((np.arange(N) >= 20) & (np.arange(N) < 26)).astype(float)
    _, _, right = scale.level(short, 20, 20, 7, Prior(0.5, put_right=False))
    _, _, wrong = scale.level((np.arange(N) >= 20).astype(float), 20, 20, 7, Prior(0.5, put_right=False))
    assert right > 2 > wrong


def test_what_cannot_be_put_right_is_off_for_as_long_as_it_is_used(rng):
    """A batch is off on all its pieces, at the whole of its odds; a tool may have been put right sooner."""
    own = ((np.arange(N) >= 20) & (np.arange(N) < 26)).astype(float)
    scale = Scale(stretch(rng.standard_normal(N) + 4 * own, 19, 21))
    whole = float(scale._likelihood(own)[0]) / scale.nothing
    _, _, batch = scale.level(own, 20, 1, 7, Prior(0.5, put_right=False))
    assert batch == pytest.approx(0.5 * whole / 0.5)
    _, _, tool = scale.level(own, 20, 1, 7, Prior(0.5))
    assert 0.5 * batch < tool < batch


def test_a_climb_is_weighed_as_a_climb(rng):
    values = 0.3 * rng.standard_normal(N) + 0.2 * np.maximum(np.arange(N) - 19, 0)
    own = (np.arange(N) >= 20).astype(float)
    climb = Scale(stretch(values, kind="climb")).level(own, 20, 1, 2, Prior(0.2))
    step = Scale(stretch(values, kind="step")).level(own, 20, 1, 2, Prior(0.2))
    assert climb[2] > 2
    assert climb[2] != step[2]


def test_one_wild_piece_accuses_nobody(rng):
    """A batch of one piece far out, on the last place of an excursion of ten."""
    values = rng.standard_normal(N)
    values[20:30] += 3
    values[29] += 40
    lone = (np.arange(N) == 29).astype(float)
    _, _, odds = Scale(stretch(values)).level(lone, 29, 5, 8, Prior(0.5))
    assert odds < 1


def by_turns(n=70, at=45):
    """The pieces that one of two people made, three of five, and of these the ones since a place."""
    own = (np.arange(n) % 5 < 3).astype(float)
    return own, own * (np.arange(n) >= at)


def test_figures_read_in_coarse_steps_still_tell_whose_pieces_are_off(rng):
    """Most lie on one reading, so that the median distance from the level is a step or nothing."""
    own, off = by_turns()
    values = 2 * off
    values[rng.choice(70, 14, replace=False)] += rng.choice([-1.0, 1.0], 14)
    how, at, odds = Scale(stretch(values, 44, 46)).level(own, None, 0, 2, Prior(0.4, half_way=1.0))
    assert (how, at) == ("since", 45)
    assert odds > 1000


def test_what_is_only_passed_or_failed_is_not_drawn_in(rng):
    """One of two people fails two thirds of the pieces from a place on, alone."""
    own, off = by_turns()
    fails = (off > 0) & (rng.random(70) < 0.67)
    scale = Scale(stretch(fails.astype(float), 44, 46))
    assert scale._values == pytest.approx(fails - fails.mean())
    assert scale.level(own, None, 0, 2, Prior(0.4, half_way=1.0))[2] > 5


def test_passed_or_failed_is_weighed_as_two_shares_by_a_general_library(rng):
    """The G statistic of the two by two table, by `scipy.stats.chi2_contingency`, is twice the gain."""
    fails = rng.random(N) < np.where(np.arange(N) >= 20, 0.5, 0.1)
    scale = Scale(stretch(fails.astype(float)))
    for start in range(18, 23):
        since = np.arange(N) >= start
        table = [[(fails & own).sum(), (~fails & own).sum()] for own in (since, ~since)]
        expected = stats.chi2_contingency(table, correction=False, lambda_="log-likelihood").statistic / 2
        mask = since.astype(float)
        assert scale._log(scale._share(mask))[0] == pytest.approx(expected)
        assert scale._log(scale._shares(np.ones(N), np.array([start]), np.array([N])))[0, 0] == pytest.approx(
            expected
        )


@pytest.mark.parametrize("more", [0, 3])
def test_one_piece_is_no_likelier_a_new_batch_for_being_the_newest(rng, more):
    """Every fourth piece begins a batch; the piece may be all there was of a change that nothing explains."""
    values = rng.standard_normal(36 + more)
    values[35] += 8
    own = (np.arange(36 + more) >= 35).astype(float)
    own[36:] = 0
    scale = Scale(stretch(values, 34, 35, kind="short"))
    odds = scale.level(own, 35, 40, 12, Prior(0.5, put_right=False))[2]
    assert odds == pytest.approx(0.5 * 160 / 39.5, rel=0.05)


@pytest.mark.parametrize(
    ("levels", "expected"),
    [(["a"] * 30, []), (["a"] * 6 + ["b"] * 21 + ["a"], [6, 27]), (["a", "b"] * 9, [])],
    ids=["one", "back after twenty-one", "in turns from the first pieces"],
)
def test_beginnings_of_levels(levels, expected):
    assert onsets_of(levels) == expected
    assert all(is_new(levels, levels[at], at) for at in expected)


def test_words_of_a_reading():
    assert split("AB + CD") == ["AB", "CD"]
    assert filled(["", "a", "", "b"]) == ["", "a", "a", "b"]
