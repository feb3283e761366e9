"""The proof: simulated strokes with known truth, measured like clips, beside bounds and alternatives."""
