"""Studies: one question asked of many tools, as one table. plan says which, run computes them, table keeps them."""
