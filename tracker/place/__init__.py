"""From pixels to metres: the head's path and the balls in the world, and how surely."""
