"""The time in a file: found, ordered, put into UTC, and followed row by row."""
