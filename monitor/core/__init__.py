"""The pure core: values in, values out. No clock, no I/O, no randomness, no logging."""
