"""Wheel, jig and path: for any place along a grind the exact pose of the tool at the wheel."""
