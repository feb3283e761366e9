"""One stroke: tracks, events, launch, arc, measures, smoothness."""
