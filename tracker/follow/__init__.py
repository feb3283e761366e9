"""One pass over a clip's pictures: sheet, head (tag, dot or patch) and balls, in pixels."""
