"""Is a trace believable over the stretch that decides? What is not believed proves nothing."""
