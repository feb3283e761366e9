"""Annotated clips."""
