"""The floor sheet, the head tags and the lens board, ready to print."""

from __future__ import annotations

from pennyfall.calibration.board import BOARD_SQUARE_M, BOARD_SQUARES, CELLS_PER_SQUARE, board_bits
from pennyfall.calibration.layout import (
    HEAD_TAG_BORDER_M,
    HEAD_TAG_ID,
    HEAD_TAG_SIDES_M,
    RULER_M,
    SHEET_CENTRES_M,
    SHEET_TAG_SIDE_M,
    tag_bits,
)
from pennyfall.calibration.page import GREY, MM_PER_INCH, PALE, Page, Paper, pdf_of

PRINT_LINE = "Print at 100 % (actual size), on matt paper."
CAUTIONS = (
    "Clear the swing area; phone and tripod out of the way of club and ball.",
    "Ask consent before filming and before sharing, a guardian's for a minor. Stop on pain.",
)


def sheet_pdf(paper: Paper, *, board: bool = False) -> bytes:
    """Return the PDF at true size: the floor sheet, the head tags and, if asked, the lens board.

    Parameters
    ----------
    paper : {'a4', 'letter'}
        Paper, used in landscape.
    board : bool
        Whether to add the lens board as page 3.

    """
    pages = [_floor_sheet, _head_tags, _lens_board] if board else [_floor_sheet, _head_tags]
    return pdf_of(paper, pages, "pennyfall: floor sheet and head tags")


def _floor_sheet(page: Page) -> None:
    for tag_id, (x, y) in SHEET_CENTRES_M.items():
        _tag(page, tag_id, x * 1e3, y * 1e3, SHEET_TAG_SIDE_M * 1e3)
        page.text(x * 1e3, 21 if y > 0 else -21, f"[{tag_id}]", size_pt=10)
    page.text(0, 91, "pennyfall floor sheet", size_pt=15, bold=True)
    page.text(0, 84, f"{PRINT_LINE} Lay it flat and tape its edges down.")
    _set_up_from_above(page)
    page.arrow(-110, 110, 0)
    page.text(0, 8, "TO THE TARGET", size_pt=12, bold=True)
    _set_up_from_behind(page)
    page.ruler(round(RULER_M * 1e3), -65)
    page.text(0, -79, "The ruler must measure 100 mm from first to last tick of its upper side.", size_pt=7.5)
    page.text(0, -83.5, "If not, print again, or say so: pennyfall measure CLIP --ruler 97.3", size_pt=7.5)
    for line, caution in enumerate(CAUTIONS):
        page.text(0, -90 - 4.5 * line, caution, size_pt=7.5)


def _set_up_from_above(page: Page) -> None:
    """Draw, not to scale, where student, ball, sheet and phone are."""
    line, ball = 55.0, 0.0
    page.text(0, 77.5, "FROM ABOVE, right-handed: mirror it for a left-handed student", size_pt=7, bold=True)
    for foot in (-7, 1):
        page.box(foot, 63, 3.5, 8, GREY)
    page.text(8, 68, "student", size_pt=7, align="left")
    page.way((-64, line), (64, line), dashed=True)
    page.text(-64, line - 3, "target line", size_pt=7, align="left")
    page.way((-10, line + 4.5), (-40, line + 4.5))
    page.text(-41, line + 4.5, "backswing", size_pt=7, align="right")
    page.box(ball - 5, line - 4, 2.5, 8)
    page.disc(ball, line, 1.6)
    page.text(64, line + 3, "clear for 2 m (7 ft): nobody, nothing", size_pt=7, align="right")
    page.line([(-20, 44), (20, 44), (20, 23), (-20, 23)])
    for tag_id, (x, y) in SHEET_CENTRES_M.items():
        page.text(x * 150, 33.5 + y * 110, f"[{tag_id}]", size_pt=7)
    page.way((-10, 33.5), (10, 33.5))
    page.way((ball, line - 2), (ball, 44), both=True)
    page.text(-2, 47.4, "15 to 25 cm (6 to 10 in)", size_pt=7, align="right")
    page.box(-5, 16.5, 10, 2.5, GREY)
    page.text(-7, 17.7, "phone, on a tripod", size_pt=7, align="right")
    page.line([(ball + 6, 17.7), (29, 17.7)], colour=PALE, width_pt=0.5, closed=False)
    page.way((27, 17.7), (27, line), both=True)
    page.text(29, 36, "0.8 to 1.2 m\n(31 to 47 in)\nfrom the ball", size_pt=7, align="left")


def _set_up_from_behind(page: Page) -> None:
    """Draw the same seen along the target line: how high the phone stands."""
    floor, ball = -49.0, -18.0
    page.text(0, -12.5, "FROM BEHIND THE BALL, LOOKING TO THE TARGET", size_pt=7, bold=True)
    page.line([(-64, floor), (64, floor)], closed=False)
    page.disc(-40, -20, 2.2, GREY)
    for limb in (
        [(-40, -22), (-42, -34)],
        [(-46, floor), (-42, -34), (-38, floor)],
        [(-40, -25), (-33, -33)],
    ):
        page.line(limb, colour=GREY, width_pt=1.6, closed=False)
    page.line([(-33, -33), (ball - 6, floor + 1)], width_pt=0.8, closed=False)
    page.text(-49, -28, "student", size_pt=7, align="right")
    page.box(ball - 7, floor, 4.5, 2)
    page.disc(ball, floor + 1.6, 1.6)
    page.box(ball + 8, floor, 22, 0.7)
    page.text(ball + 19, floor + 3, "sheet", size_pt=7)
    for foot in (33, 38, 43):
        page.line([(38, -21), (foot, floor)], colour=GREY, width_pt=1.2, closed=False)
    page.line([(36, -17.5), (41, -19.5), (40, -22), (35, -20)], width_pt=1.2)
    page.way((34, -21), (ball + 2, floor + 3), dashed=True)
    page.text(-12, -25, "ball in the middle\nof the picture", size_pt=7)
    page.way((48, floor), (48, -19.5), both=True)
    page.text(50, -34, "0.7 to 1.0 m\n(28 to 39 in)\nup", size_pt=7, align="left")


def _head_tags(page: Page) -> None:
    page.text(0, 88, "pennyfall head tags", size_pt=15, bold=True)
    page.text(
        0, 79, f"{PRINT_LINE} Cut along the dashed line: the white border belongs to the tag.", size_pt=9
    )
    page.text(0, 73.5, "Use the largest that lies flat on the top of the head. The second row is spare.")
    sides = [side * 1e3 for side in HEAD_TAG_SIDES_M]
    border = HEAD_TAG_BORDER_M * 1e3
    gap = 26.0
    left = -(sum(sides) + 2 * border * len(sides) + gap * (len(sides) - 1)) / 2 - 5
    for side in sides:
        middle = left + border + side / 2
        page.text(middle, 67, f"{side:.0f} mm", size_pt=10, bold=True)
        page.text(middle, 62.7, f"{side / MM_PER_INCH:.2f} in", size_pt=7)
        for y in (35.0, -15.0):
            _head_tag(page, middle, y, side, border)
        left += side + 2 * border + gap
    _head_from_above(page, -88, -66)
    steps = (
        "1  Wipe the top of the head dry and stick the tag on flat.",
        "2  The small triangle in its border points to the face; its edges are square to the face.",
        "3  Rest the head on the floor as at address. Measure how high the tag lies above the floor.",
        "4  Write that into a club file with: pennyfall club new",
        "5  Take the tag off before a round: local rules decide what may stay on a club.",
    )
    for line, step in enumerate(steps):
        page.text(-26, -50 - 8 * line, step, align="left")
    page.text(0, -93, " ".join(CAUTIONS), size_pt=7.5)


def _lens_board(page: Page) -> None:
    columns, rows = BOARD_SQUARES
    side = BOARD_SQUARE_M * 1e3
    page.cells(board_bits(), -columns * side / 2, rows * side / 2, side / CELLS_PER_SQUARE)
    page.text(
        0, 94, "pennyfall lens board. Fix it flat on stiff card or a clipboard; its size does not matter."
    )
    page.text(
        0, -93, "Film it in the mode you film strokes in: slowly, tilted 20 to 45 degrees to every side,"
    )
    page.text(
        0, -97.5, "into every corner of the picture, for 20 s. Then: pennyfall lens CLIP --out lens.json"
    )


def _tag(page: Page, tag_id: int, x: float, y: float, side: float) -> None:
    bits = tag_bits(tag_id)
    page.cells(bits, x - side / 2, y + side / 2, side / len(bits))


def _head_tag(page: Page, x: float, y: float, side: float, border: float) -> None:
    """Draw a head tag with its cut line and, small and pale at the edge, the mark that points to the face."""
    _tag(page, HEAD_TAG_ID, x, y, side)
    half = side / 2 + border
    page.line(_square(x, y, half), colour=PALE, width_pt=0.5, dashed=True)
    page.fill([(x + half - 1.5, y + 0.9), (x + half - 1.5, y - 0.9), (x + half - 0.3, y)], PALE)
    page.text(x + half + 2, y, "to the\nface", size_pt=7, align="left", colour=GREY)
    page.text(x, y + half + 2.5, "up", size_pt=7, colour=GREY)


def _head_from_above(page: Page, x: float, y: float) -> None:
    """Draw a head seen from above at address: where the tag sits and which way it points."""
    upper = [(x + 14, y + 20), (x - 12, y + 20), (x - 26, y + 9)]
    page.line([*upper, *((u, 2 * y - v) for u, v in reversed(upper))])
    page.box(x + 14, y - 20, 2, 40)
    _tag(page, HEAD_TAG_ID, x - 2, y, 16)
    page.line(_square(x - 2, y, 12), colour=PALE, width_pt=0.5)
    page.text(x + 19, y - 17, "face", size_pt=7, align="left", colour=GREY)
    page.arrow(x + 20, x + 44, y)


def _square(x: float, y: float, half: float) -> list[tuple[float, float]]:
    return [(x - half, y + half), (x + half, y + half), (x + half, y - half), (x - half, y - half)]
