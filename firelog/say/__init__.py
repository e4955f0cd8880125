"""How numbers, limits, instants and verdicts are said: one home for terminal, board and report."""
