"""One module a command: `arguments(parser)` says what it takes, `run(arguments)` does it and returns the exit code."""
