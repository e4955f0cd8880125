"""When the rest of a running firing should be done, and how sure that is."""
