"""A lifter with physics of its own, to watch instead of a real one. It never imports the rules."""
