"""gougeform: the edge that a wheel and a jig leave on a turning gouge."""

__version__ = "0.1.0"
