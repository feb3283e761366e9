"""Printed sheet, lens and camera pose: from pixels to metres."""
