"""The watch as it runs: from the store to what is seen, round after round."""
