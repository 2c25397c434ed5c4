"""Pure functions on arrays: no file, no plugin, no unit conversion. One module per method."""
