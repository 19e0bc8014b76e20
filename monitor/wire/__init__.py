"""Bytes to readings, or a reason why not. Never raises on bad input."""
