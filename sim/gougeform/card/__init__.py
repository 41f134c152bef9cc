"""The card: one page with all a person needs at the grinder."""
