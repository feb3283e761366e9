"""Known patterns in the picture: decoded, registered, told from the smear of a moving shutter."""
