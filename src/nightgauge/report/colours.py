"""The pages' colours, light and dark, each with its use; shapes and words carry the same meaning.

Charts name them through style-sheet variables, so that one chart serves light, dark and paper.
"""

from collections.abc import Mapping
from types import MappingProxyType

LIGHT: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#FBFAF7", "panel": "#F1EFEA", "rule": "#D8D4CB",
        "ink": "#23272B", "quiet": "#61676D",
        "water": "#2B7A99", "oil": "#8A5A1E", "gas": "#B9BDC1",
        "band": "#D9DEE2",
        "high": "#C03A12", "medium": "#9A6200",
    }
)  # fmt: skip
"""On a light screen."""
DARK: Mapping[str, str] = MappingProxyType(
    {
        "paper": "#16181A", "panel": "#1F2225", "rule": "#3A3E42",
        "ink": "#E8E6E1", "quiet": "#A2A7AC",
        "water": "#5DB1D0", "oil": "#C99A57", "gas": "#7C8287",
        "band": "#33393E",
        "high": "#F2784B", "medium": "#E0A63A",
    }
)  # fmt: skip
"""On a dark screen."""
PRINT: Mapping[str, str] = MappingProxyType(
    {**LIGHT, "paper": "#FFFFFF", "panel": "#FFFFFF", "ink": "#000000", "quiet": "#3A3E42"}
)
"""On paper: black on white."""
TEXT_ON_GROUND = (
    ("ink", "paper"), ("ink", "panel"), ("quiet", "paper"), ("quiet", "panel"),
    ("high", "paper"), ("high", "panel"), ("medium", "paper"), ("water", "paper"), ("oil", "paper"), ("ink", "band"),
)  # fmt: skip
"""Pairs that carry text: WCAG 2.2 AA, 1.4.3, asks 4.5:1."""
MARK_ON_GROUND = (
    ("water", "panel"), ("oil", "panel"), ("water", "band"), ("oil", "band"), ("high", "band"),
)  # fmt: skip
"""Pairs that carry marks: WCAG 2.2 AA, 1.4.11, asks 3:1. Gas is drawn with an outline of ink, so it is none."""


def variable(name: str) -> str:
    """Return a colour as style-sheet and chart name it."""
    if name not in LIGHT:
        raise KeyError(name)
    return f"var(--{name})"


def declarations(colours: Mapping[str, str]) -> str:
    """Return the colours as style-sheet declarations."""
    return " ".join(f"--{name}: {value};" for name, value in colours.items())


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21.

    Parameters
    ----------
    one, other : str
        As "#RRGGBB".

    Notes
    -----
    (L1 + 0.05) / (L2 + 0.05) of the relative luminances. Source: WCAG 2.2, definition "contrast ratio".

    Examples
    --------
    >>> contrast("#000000", "#FFFFFF")
    21.0

    """
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return round((lighter + 0.05) / (darker + 0.05), 6)


def _luminance(colour: str) -> float:
    """Return relative luminance. Source: WCAG 2.2, definition "relative luminance" (sRGB)."""
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
