"""Everything that brings readings in: serial ports, buses, and loggers' files."""
