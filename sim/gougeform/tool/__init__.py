"""One ground tool as an answer: its settings, edge and sizes in rows, what looks like a slip in it, its picture."""
