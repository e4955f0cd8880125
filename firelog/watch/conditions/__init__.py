"""What may be wrong with a firing, a thermocouple or the machine, looked at once a round. Pure."""
