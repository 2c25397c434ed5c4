"""Schedule: which reports are owed and why, writing them, watching files, and the system's timers."""
