"""Record, schedule and physics brought together: one assessment of a firing."""
