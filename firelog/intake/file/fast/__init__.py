"""Lines that all have one form, read whole as arrays: the quick road through a file."""
