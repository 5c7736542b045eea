"""Contrast by WCAG 2.2 (criteria 1.4.3 and 1.4.11), colour-vision deficiency by published matrices."""

from itertools import combinations

import numpy as np
import pytest

from dashboard import theme

THEMES = [pytest.param(theme.LIGHT, id="light"), pytest.param(theme.DARK, id="dark")]

# Machado, Oliveira and Fernandes 2009, "A physiologically-based model for simulation of color vision
# deficiency", full severity; values from memory, each row checked below to keep grey grey.
DEFICIENCIES = {
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
JUST_APART = 12.0  # CIE 1976 colour difference; about 2.3 is just noticeable side by side


@pytest.mark.parametrize("tokens", THEMES)
@pytest.mark.parametrize("front", ["ink", "soft", "steady", "drift", "mark"])
@pytest.mark.parametrize("back", ["paper", "card"])
def test_text_reaches_double_a(tokens, front, back):
    assert theme.contrast(tokens[front], tokens[back]) >= 4.5


@pytest.mark.parametrize("tokens", THEMES)
@pytest.mark.parametrize("front", ["learn", "brass"])
def test_outlines_reach_three_to_one(tokens, front):
    assert theme.contrast(tokens[front], tokens["card"]) >= 3.0


@pytest.mark.parametrize(
    "front, back, ratio",
    [
        pytest.param("#FFFFFF", "#000000", 21.0, id="by definition: the largest"),
        pytest.param("#777777", "#FFFFFF", 4.48, id="WCAG's well-known grey just short of 4.5"),
        pytest.param("#123456", "#123456", 1.0, id="by definition: none"),
    ],
)
def test_contrast_agrees_with_the_definition(front, back, ratio):
    assert theme.contrast(front, back) == pytest.approx(ratio, abs=0.005)
    assert theme.contrast(back, front) == theme.contrast(front, back)


@pytest.mark.parametrize("kind", DEFICIENCIES)
def test_the_matrices_keep_grey(kind):
    assert np.allclose(np.sum(DEFICIENCIES[kind], axis=1), 1.0, atol=1e-5)


@pytest.mark.parametrize("tokens", THEMES)
@pytest.mark.parametrize("kind", DEFICIENCIES)
def test_the_three_states_stay_apart_for_the_colour_blind(tokens, kind):
    seen = [
        _lab(np.clip(np.array(DEFICIENCIES[kind]) @ _linear(tokens[n]), 0, 1))
        for n in ("steady", "drift", "learn")
    ]
    assert all(np.linalg.norm(a - b) >= JUST_APART for a, b in combinations(seen, 2))


def test_both_themes_name_the_same_colours():
    assert set(theme.LIGHT) == set(theme.DARK)


def test_every_chart_colour_follows_the_theme():
    sheet = theme.style_sheet()
    for name, value in theme.LIGHT.items():
        red, green, blue = theme.rgb(value)
        assert f'[style*="fill: rgb({red}, {green}, {blue})"]{{fill:var(--{name})!important}}' in sheet
        assert f'[style*="stroke: rgb({red}, {green}, {blue})"]{{stroke:var(--{name})!important}}' in sheet


def test_no_two_tokens_share_a_colour():
    assert len(set(theme.LIGHT.values())) == len(theme.LIGHT)


def test_paper_is_light_whatever_the_screen():
    sheet = theme.style_sheet()
    assert sheet.index("@media print") > sheet.index(":root[data-theme=dark]")
    assert "url(" not in sheet and "@import" not in sheet


def _linear(colour):
    channels = np.array(theme.rgb(colour)) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def _lab(linear):
    # sRGB to CIE XYZ (IEC 61966-2-1), then CIE L*a*b* with the D65 white
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    ratio = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])
