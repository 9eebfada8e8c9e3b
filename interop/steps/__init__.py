"""Order of work, readings, change-over."""
