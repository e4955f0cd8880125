"""Text lines and chip frames from a serial port."""
