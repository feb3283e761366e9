"""The file: container, header clocks, damage, frames with true times, sound."""
