"""Printed sheet, lens and camera pose: from pixels to metres."""

__all__ = [
    "attitude",
    "ball_pose",
    "board",
    "board_views",
    "camera",
    "club",
    "layout",
    "layout_file",
    "lens",
    "lens_fit",
    "page",
    "pose",
    "sheet_pdf",
    "silhouette",
    "tag_height",
    "tag_pose",
    "tag_size",
]
