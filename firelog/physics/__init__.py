"""Pure functions on numpy arrays: no disk, no clock, no network, no pandas."""
