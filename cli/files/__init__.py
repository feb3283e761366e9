"""What is kept in files: measurement, track, settings, lesson."""
