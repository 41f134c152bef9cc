"""The recipe: one model of a tool and its grinds, read from files and references, changed, and written back."""
