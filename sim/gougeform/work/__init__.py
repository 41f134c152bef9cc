"""Workpieces: meridians read from files, checked, and the exact distance to their solid of revolution."""
