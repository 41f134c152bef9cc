"""One question a file: what is told of a drawing, and a tool's outlines in true size."""
