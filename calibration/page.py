"""Drawing on paper at true size: pages in millimetres, joined to one vector PDF."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Patch, PathPatch, Polygon, Rectangle
from matplotlib.path import Path as Outline
from numpy.typing import NDArray

Paper = Literal["a4", "letter"]
PAPER_MM: dict[Paper, tuple[float, float]] = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
"""Landscape width and height: ISO 216 A4; US Letter 11 x 8.5 in."""

MM_PER_INCH = 25.4
INK = "black"
GREY = "0.35"
PALE = "0.6"


@dataclass(frozen=True, slots=True)
class Page:
    """One page; places are millimetres from the middle of the paper, x right and y up."""

    axes: Axes

    def fill(self, outline: Sequence[tuple[float, float]], colour: str = INK) -> None:
        """Fill a polygon."""
        self._add(Polygon(outline, facecolor=colour, linewidth=0))

    def box(self, left: float, bottom: float, width: float, height: float, colour: str = INK) -> None:
        """Fill an upright rectangle."""
        self._add(Rectangle((left, bottom), width, height, facecolor=colour, linewidth=0))

    def line(
        self,
        points: Sequence[tuple[float, float]],
        *,
        colour: str = INK,
        width_pt: float = 0.8,
        dashed: bool = False,
        closed: bool = True,
    ) -> None:
        """Draw a line, back to its first point where closed."""
        style: tuple[int, tuple[int, int]] | str = (0, (6, 4)) if dashed else "solid"
        outline = Polygon(
            points, closed=closed, fill=False, edgecolor=colour, linewidth=width_pt, linestyle=style
        )
        self._add(outline)

    def disc(self, x: float, y: float, radius: float, colour: str = INK) -> None:
        """Fill a circle."""
        self._add(Circle((x, y), radius, facecolor=colour, linewidth=0))

    def way(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        *,
        both: bool = False,
        dashed: bool = False,
    ) -> None:
        """Draw a thin line with a small head at its end, or with one at both ends, as a distance has."""
        self.line([start, end], width_pt=0.6, dashed=dashed, closed=False)
        step = np.subtract(end, start)
        along = 2.4 * step / np.hypot(*step)
        across = 0.35 * np.array([-along[1], along[0]])
        for tip, back in [(end, along), (start, -along)] if both else [(end, along)]:
            foot = np.subtract(tip, back)
            self.fill([tip, tuple(foot + across), tuple(foot - across)])

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size_pt: float = 8,
        bold: bool = False,
        align: Literal["left", "center", "right"] = "center",
        colour: str = INK,
    ) -> None:
        """Write words, centred on y."""
        weight = "bold" if bold else "normal"
        self.axes.text(x, y, words, fontsize=size_pt, fontweight=weight, ha=align, va="center", color=colour)

    def cells(self, bits: NDArray[np.uint8], left: float, top: float, cell: float) -> None:
        """Fill the cells that are 0, in runs along the rows, as one path so that no hairline shows."""
        edges = np.diff((bits == 0).astype(int), axis=1, prepend=0, append=0)
        rows, starts = np.nonzero(edges == 1)
        ends = np.nonzero(edges == -1)[1]
        x, y, right = left + starts * cell, top - rows * cell, left + ends * cell
        corners = [(x, y), (x, y - cell), (right, y - cell), (right, y), (x, y)]
        points = np.stack([np.column_stack(corner) for corner in corners], axis=1).reshape(-1, 2)
        codes = [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY]
        self._add(PathPatch(Outline(points, np.tile(codes, len(rows))), facecolor=INK, linewidth=0))

    def arrow(self, start: float, end: float, y: float) -> None:
        """Draw a plain arrow to the right."""
        shaft, head, length = 1.5, 6.0, 14.0
        upper = [(start, y + shaft), (end - length, y + shaft), (end - length, y + head), (end, y)]
        self.fill([*upper, *((x, 2 * y - height) for x, height in reversed(upper[:-1]))])

    def ruler(self, length: int, y: float) -> None:
        """Draw a ruler of `length` millimetres across the middle of the page, inches along its lower side."""
        start = -length / 2
        inches = round(length / MM_PER_INCH)
        width = 0.2
        self.box(start - width / 2, y - width / 2, max(length, inches * MM_PER_INCH) + width, width)
        for millimetre in range(length + 1):
            height = 6.0 if millimetre % 10 == 0 else 4.0 if millimetre % 5 == 0 else 2.5
            self.box(start + millimetre - width / 2, y, width, height)
            if millimetre % 10 == 0:
                self.text(start + millimetre, y + 8, str(millimetre), size_pt=6)
        for eighth in range(8 * inches + 1):
            height = 6.0 if eighth % 8 == 0 else 4.0 if eighth % 4 == 0 else 2.5
            self.box(start + eighth * MM_PER_INCH / 8 - width / 2, y - height, width, height)
            if eighth % 8 == 0:
                self.text(start + eighth * MM_PER_INCH / 8, y - 8, str(eighth // 8), size_pt=6)
        self.text(start - 6, y + 8, "mm", size_pt=6)
        self.text(start - 6, y - 8, "in", size_pt=6)

    def _add(self, patch: Patch) -> None:
        self.axes.add_artist(patch)  # add_patch would also search the limits of the data, for seconds


def pdf_of(paper: Paper, drawings: Sequence[Callable[[Page], None]], title: str) -> bytes:
    """Return the PDF whose pages the functions draw; the same drawings give the same bytes.

    See `forbids_scaling` for whether it keeps printers from scaling it.
    """
    width, height = PAPER_MM[paper]
    buffer = io.BytesIO()
    facts = {"Title": title, "Creator": "pennyfall", "CreationDate": None}
    with (
        mpl.rc_context(
            {"pdf.fonttype": 42, "font.family": "DejaVu Sans"}
        ),  # 42: letters stay searchable text
        PdfPages(buffer, metadata=facts) as document,
    ):
        for draw in drawings:
            figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
            axes = figure.add_axes((0, 0, 1, 1))
            axes.set(xlim=(-width / 2, width / 2), ylim=(-height / 2, height / 2))
            axes.axis("off")
            draw(Page(axes))
            document.savefig(figure)
    return _without_print_scaling(buffer.getvalue())


def forbids_scaling(pdf: bytes) -> bool:
    """Return whether a PDF tells the printer's dialogue to print it at its own size."""
    return b"/PrintScaling /None" in pdf


def _without_print_scaling(pdf: bytes) -> bytes:
    """Return the PDF with the viewer preference 'no print scaling', added as an incremental update.

    A PDF laid out in another way than the one known here is returned as it is.
    ISO 32000-1, 12.2 (PrintScaling) and 7.5.6 (incremental updates); matplotlib has no setting for it.
    """
    catalog = re.search(rb"\n(\d+) 0 obj\n<< (/Type /Catalog .*?) >>\nendobj", pdf)
    trailer = re.search(rb"trailer\n<< (.*) >>\nstartxref\n(\d+)\n%%EOF\n$", pdf)
    if catalog is None or trailer is None:
        return pdf
    number, entries = catalog[1], catalog[2]
    update = b"%b 0 obj\n<< %b /ViewerPreferences << /PrintScaling /None >> >>\nendobj\n" % (number, entries)
    table = b"xref\n0 1\n0000000000 65535 f \n%b 1\n%010d 00000 n \n" % (number, len(pdf))
    ending = b"trailer\n<< %b /Prev %b >>\nstartxref\n%d\n%%%%EOF\n" % (
        trailer[1],
        trailer[2],
        len(pdf) + len(update),
    )
    return pdf + update + table + ending
