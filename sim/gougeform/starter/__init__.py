"""A first recipe of one's own: what a ruler reads, the commented file to fill in, and where to lay the ruler."""
