"""Faults done to the real processes, and what they survived: ``python -m tests.campaign``."""
