"""Holdwatch: says in plain words whether a vacuum lifter still holds its panel, and for how long."""
