"""Several tools side by side on one workpiece."""
