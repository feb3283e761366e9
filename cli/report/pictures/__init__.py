"""Pictures drawn with matplotlib."""
