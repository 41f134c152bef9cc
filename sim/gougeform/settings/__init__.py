"""From the edge a person wants to the numbers they set, how exact those must be, and what it costs in steel."""
