"""The night watch: who is woken, when, and why; and who watches the watch."""
