"""Live sources into the store, all night."""
