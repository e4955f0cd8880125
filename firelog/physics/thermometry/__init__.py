"""Thermocouples: emf and temperature, tolerance, drift, calibration, uncertainty."""
