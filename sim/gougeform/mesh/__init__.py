"""The ground gouge as one closed triangle mesh, and the files it is written to."""
