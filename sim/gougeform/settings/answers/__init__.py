"""Questions about settings, one a module: `answer(recipe, …)` works it out and says what a person is told."""
