"""The other direction, as jobs of the workbench: settings for a wanted edge, relief, other wheel or jig, regrind."""
