"""Reach: where along a workpiece a tool can cut with its bevel on the wood, and what stops it elsewhere."""
