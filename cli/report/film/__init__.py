"""Annotated clips: one stroke with the head's path, its instants and its acceleration."""

__all__ = ["annotate", "overlay", "strip"]
