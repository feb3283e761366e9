"""The coin in the picture: on the head, and fallen on the floor."""
