"""What a firing is meant to do, and whether it did: pure, from schedule text to verdicts."""
