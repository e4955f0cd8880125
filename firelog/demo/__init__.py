"""A foundry in a box: an invented foundry with a past, and a rehearsal kiln that fires now.

Everything takes the true way: the live firing is spoken line by line over a real pseudo-terminal,
read by the collector, stored, judged and shown. Only the kiln is simulated.
"""
