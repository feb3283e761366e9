"""The coin's story, from a clip or a measurement file."""
