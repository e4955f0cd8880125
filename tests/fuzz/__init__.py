"""Coverage-guided fuzzing of what comes from outside; seeds of what was found stand in tests."""
