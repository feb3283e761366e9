"""The smoother that stops at impact: motion model, noise, events as hypotheses, the smoothing."""
