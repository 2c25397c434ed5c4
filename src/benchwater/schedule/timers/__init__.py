"""The operating system's own timers: the files and commands that have `benchwater due` run every day."""
