"""After part was added and measured: what is in the vessel, what was off, and what brings it to the targets."""
