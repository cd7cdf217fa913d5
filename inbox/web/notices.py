"""A sentence about what was just done, shown once on the next page, with its undo."""

from flask import flash


def say(words: str, *, undo: int | None = None) -> None:
    """Show `words` on the next page; `undo` is the number of the step that takes it back."""
    flash(words, str(undo or ""))
