"""What the wheel leaves: the envelope of its poses, and one recipe made into a ground gouge."""
