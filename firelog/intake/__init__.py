"""Everything that brings readings in: files, ports, and the rehearsal foundry."""
