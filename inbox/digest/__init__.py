"""The weekly digest: built once, frozen, and shown as page, mail and plain text; and when it is made.

Read `document` for what it holds, `build.freeze` for how it comes about, `schedule` for when.
"""
