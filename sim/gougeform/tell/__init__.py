"""How results reach a person: tables, pictures, cautions, and files that appear together."""
