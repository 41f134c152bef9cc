"""How stiff the fluted bar is: section properties, and the bar as a beam over the rest."""
