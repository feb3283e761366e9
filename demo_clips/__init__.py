"""The scene model that renders clips with exact truth, with the clips it made."""
