"""What should have happened by now, by the plan, the kiln's past and tonight's start. Pure."""
