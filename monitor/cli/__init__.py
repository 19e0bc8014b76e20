"""The command line: arguments, exit codes, wiring."""
