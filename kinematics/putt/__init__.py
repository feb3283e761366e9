"""The putt: the ball's roll, the stroke's growth with length, the drill's plan."""
