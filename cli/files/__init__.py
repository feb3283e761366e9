"""What is kept in files: measurement, track, settings, lesson, frictions; written whole or not at all."""

__all__ = [
    "c3d_file",
    "folder_lock",
    "frictions",
    "lesson_file",
    "lesson_result",
    "measured_files",
    "measurement",
    "own_rules",
    "putt_length",
    "settings",
    "table_file",
    "track",
]
