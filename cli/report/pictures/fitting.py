"""Words that keep to the room they have in a picture."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from pennyfall.cli.report.pictures.figure_file import PIXELS_PER_INCH

if TYPE_CHECKING:
    from matplotlib.text import Text

HINTING = 0.98
"""Letters take up to 2 % more room at one resolution than at another: chosen by us."""


def shortened(words: str, fits: Callable[[str], bool]) -> str:
    """Return words, as many left out of the middle as it takes until they fit; both ends tell clips apart.

    >>> shortened("IMG_20260314_101112.mp4", lambda words: len(words) <= 12)
    'IMG_20…2.mp4'
    """
    kept = len(words)
    said = words
    while kept > 1 and not fits(said):
        kept -= 1
        said = f"{words[: (kept + 1) // 2]}…{words[len(words) - kept // 2 :]}"
    return said


def fitted(words: str, width_in: float, *, most_lines: int = 1, **font: Any) -> str:  # noqa: ANN401
    """Return words as `fit` breaks and shortens them, to know their lines before there is a figure."""
    from matplotlib.figure import Figure

    text = Figure(dpi=PIXELS_PER_INCH).text(0, 0, words, **font)
    fit(text, width_in, most_lines=most_lines)
    return text.get_text()


def fit(text: Text, width_in: float, *, most_lines: int = 1) -> None:
    """Break each line of a text that is wider than it may be, and shorten what is too wide even then."""
    figure = text.get_figure(root=True)
    assert figure is not None

    def fits(words: str) -> bool:
        text.set_text(words)
        return text.get_window_extent().width <= HINTING * width_in * figure.dpi

    lines: list[str] = []
    for paragraph in text.get_text().split("\n"):
        broken = [""]
        for word in paragraph.split(" "):
            longer = f"{broken[-1]} {word}".strip()
            if fits(longer) or len(broken) == most_lines:
                broken[-1] = longer
            else:
                broken.append(word)
        lines += [shortened(line, fits) for line in broken if line]
    text.set_text("\n".join(lines))
