"""What one message says: kinds, outcome, faults, hazard, recipe, what is asked for.

Pure computation: dataclasses and arrays in, dataclasses out; no database, no
clock, no settings. Start with `findings` for the shapes, then `model`.
"""
