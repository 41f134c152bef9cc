"""Mathematics that knows no gouge: roots in brackets, curves from samples, strips of triangles."""
