"""The Dash board: what the record says, drawn."""
