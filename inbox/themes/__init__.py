"""What many requests have in common: themes that keep their identity.

Pure computation: dataclasses and arrays in, dataclasses out; no database, no
clock, no settings. Start with `requests` for what one reader asks for, then
`grouping` for how requests become themes.
"""
