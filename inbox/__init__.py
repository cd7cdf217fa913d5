"""Second Batch: gathers what readers send back about recipes, and reads it.

The floors, from the ground up, are listed in `tests/test_layers.py`; a floor
imports only from floors below it. The path of one message is in DEVELOPERS.md.
"""
