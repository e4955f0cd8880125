"""Everything on disk: the one door to SQLite."""
