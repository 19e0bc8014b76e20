"""Cells of a CSV file that a spreadsheet may open."""

from typing import Final

FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is run by spreadsheets; text from outside gets a ' in front."""


def cell(value: object) -> object:
    """A value as it may stand in a cell: text never as a formula, nothing as an empty cell."""
    if isinstance(value, str) and value.startswith(FORMULA):
        return "'" + value
    return "" if value is None else value
