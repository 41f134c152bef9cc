"""From files to a checked recipe: TOML, the library, references, and messages a person can act on."""
