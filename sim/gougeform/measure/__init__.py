"""What is measured on a ground gouge, from its surfaces and normals and never from a mesh."""
