"""What a schedule is, how its file is read, drafted and drawn."""
