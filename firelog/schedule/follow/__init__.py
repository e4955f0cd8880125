"""How a recorded trace ran along the segments of its schedule."""
