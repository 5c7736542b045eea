"""The look in one place: colours, type, spacing, for light, dark and paper.

Charts are always drawn in the light colours; `style_sheet` tells the browser to show each of them in the
colour of the theme in force. So one figure serves light, dark and print, and nothing is drawn again when
the theme changes.
"""

from __future__ import annotations

from typing import Final

LIGHT: Final[dict[str, str]] = {
    "paper": "#F6F4EE",
    "card": "#FFFEFB",
    "ink": "#1D2A31",
    "soft": "#5C6A70",
    "line": "#D9D4C7",
    "brass": "#9A7420",
    "brass-soft": "#E9DFC6",
    "brass-shine": "#F6EFDD",
    "steady": "#1B6F8A",
    "steady-soft": "#E8F1F2",
    "drift": "#B84714",
    "drift-soft": "#F7E4D9",
    "learn": "#7C868A",
    "mark": "#6B4E9B",
}
"""Colours on paper. `drift` is a shade deeper than the sketch's so that small text keeps 4.5:1 on `paper`."""

DARK: Final[dict[str, str]] = {
    "paper": "#15191C",
    "card": "#1C2226",
    "ink": "#ECE9E1",
    "soft": "#A6B0B4",
    "line": "#384147",
    "brass": "#C9A34C",
    "brass-soft": "#4A3F26",
    "brass-shine": "#5C4E2E",
    "steady": "#62B5D1",
    "steady-soft": "#1E2F36",
    "drift": "#F08B57",
    "drift-soft": "#43291B",
    "learn": "#8E999D",
    "mark": "#B79CE3",
}
"""The same hues on a dark ground."""

FONTS: Final = 'system-ui, -apple-system, "Segoe UI", "Noto Sans", "Liberation Sans", Arial, sans-serif'
"""Fonts that are on the machine already; nothing is fetched."""

EVERY_ROOT: Final = ":root,:root[data-theme],:root:not([data-theme=light])"
"""Every root the rules above may match: paper is light whatever the screen."""

BODY_PX: Final = 16
SMALL_PX: Final = 13


def style_sheet() -> str:
    """Return the colour variables for every theme and the rules that carry them into the charts.

    Examples
    --------
    >>> "--drift:#B84714" in style_sheet()
    True
    """
    light, dark = _variables(LIGHT), _variables(DARK)
    blocks = [
        f":root{{color-scheme:light;{light}}}",
        f"@media (prefers-color-scheme:dark){{:root:not([data-theme=light]){{color-scheme:dark;{dark}}}}}",
        f":root[data-theme=dark]{{color-scheme:dark;{dark}}}",
        f"@media print{{{EVERY_ROOT}{{color-scheme:light;{light}}}}}",
        *(_chart_rule(name, value) for name, value in LIGHT.items()),
        f"body{{font-family:{FONTS}}}",
    ]
    return "\n".join(blocks) + "\n"


def contrast(front: str, back: str) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, relative luminance), 1 to 21.

    Examples
    --------
    >>> round(contrast("#000000", "#FFFFFF"), 1)
    21.0
    """
    high, low = sorted((_luminance(front), _luminance(back)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def rgb(colour: str) -> tuple[int, int, int]:
    """Return red, green and blue of a ``#RRGGBB`` colour, 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _variables(tokens: dict[str, str]) -> str:
    return "".join(f"--{name}:{value};" for name, value in tokens.items())


def _chart_rule(name: str, value: str) -> str:
    # Plotly writes colours as inline styles, in the browser's own spelling of rgb().
    red, green, blue = rgb(value)
    written = f"rgb({red}, {green}, {blue})"
    return (
        f'.js-plotly-plot [style*="fill: {written}"]{{fill:var(--{name})!important}}'
        f'.js-plotly-plot [style*="stroke: {written}"]{{stroke:var(--{name})!important}}'
    )


def _luminance(colour: str) -> float:
    linear = [
        channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
        for channel in (part / 255 for part in rgb(colour))
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
