"""A drawn figure as a file's content."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pennyfall.cli.report.palette import INK, QUIET
from pennyfall.kinematics.errors import CannotMeasure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PIXELS_PER_INCH = 200
"""A phone's screen, and sharp in print."""

FileKind = Literal["png", "svg"]

SETTINGS: dict[Any, Any] = {
    "svg.hashsalt": "pennyfall",  # the ids in the file depend on nothing but the drawing
    "text.parse_math": False,  # a dollar sign in a clip name is no formula
    "font.family": "DejaVu Sans",
    "text.color": INK,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}


def file_kind(path: Path) -> FileKind:
    """Return as what a picture is written, told by its file's suffix.

    Raises
    ------
    CannotMeasure
        When the suffix is another.

    """
    match path.suffix.lower():
        case ".png":
            return "png"
        case ".svg":
            return "svg"
    raise CannotMeasure(f"A picture cannot be written as {path.name}.", fix="Name it .png or .svg.")


def figure_file(draw: Callable[[], Figure], kind: FileKind, *, font_size: float = 12) -> bytes:
    """Return the figure as a file's content, the same bytes for the same drawing.

    Parameters
    ----------
    draw : Callable
        Makes the figure; called with the tool's own drawing settings in force.
    kind : {'png', 'svg'}
        File format.
    font_size : float
        Size of plain text [pt].

    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    with mpl.rc_context({**SETTINGS, "font.size": font_size}):
        figure = draw()
        FigureCanvasAgg(figure)
        content = io.BytesIO()
        metadata = {"Date": None} if kind == "svg" else {"Software": None}
        figure.savefig(content, format=kind, dpi=PIXELS_PER_INCH, metadata=metadata)
    return content.getvalue()
