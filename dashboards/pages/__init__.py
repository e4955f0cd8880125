"""One file per page of the board."""
