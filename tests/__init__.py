"""Tests by room."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
"""As the command line sets it, and before numpy is loaded: with two threads a stroke costs up to fivefold."""
