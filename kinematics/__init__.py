"""Events, metrics, physics and statistics of a stroke: arrays in, values out."""
