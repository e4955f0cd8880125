"""Plays recorded hours through the night watch in compressed time, to see who would be called."""
