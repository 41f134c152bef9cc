"""From the work to the tool: which bar, which flute and which grind reach it, and what each wish costs."""
