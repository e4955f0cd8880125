"""A day's pours planned: moulds, heats, kilns and crews in, the best order out, proven best."""
