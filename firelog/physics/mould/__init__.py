"""Heat in a mould: its body, conduction through it, and what its core did."""
