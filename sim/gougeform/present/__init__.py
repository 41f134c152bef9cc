"""An answer and how it reaches a person: terminal, JSON, page, charts, cautions, and files that appear together."""
