"""Clips, head, ball and smoothing: from frames to a track with covariance."""
