"""Requirements held against a firing: soaks, extremes, rates, spread."""
