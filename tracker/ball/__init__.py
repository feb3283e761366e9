"""Balls in the picture: found, watched at rest, followed in motion, by their outline."""
