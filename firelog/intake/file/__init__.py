"""Logger exports: what a file's columns and clock are, and its readings."""
