"""Meters and controllers on a bus: Modbus, and readings published through MQTT."""
