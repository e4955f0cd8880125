"""The printable record of a firing, a heat or a casting: one file that needs nothing else."""
