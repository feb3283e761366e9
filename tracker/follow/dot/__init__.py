"""The head by a dot."""
