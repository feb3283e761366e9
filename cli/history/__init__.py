"""The database of students, lessons, conditions and strokes."""
