"""The audit of a casting: what the record supports, what it argues against, where it is silent."""
