"""See it happen: the tool on the wheel, the tool in the wood, the heads; as pictures, films, GLB, a page that turns."""
