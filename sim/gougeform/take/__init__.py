"""The tool a person has: from photographs, drawings, points and scans to the numbers of a recipe."""
