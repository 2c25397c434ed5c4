"""Reports that write themselves: what is owed and why, catching up, and the system's own timers."""
