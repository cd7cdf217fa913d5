"""How large a request may be: an ordinary form, a reader's form with photos, a file that is handed in."""

from flask import Flask

from inbox.intake.photos import PHOTOS_PER_MESSAGE
from inbox.settings import Settings

FORM_BYTES = 1_000_000
"""Most that an ordinary form may hold, and what may stand around a file; views that take files say so."""


def reader_form_bytes(settings: Settings) -> int:
    """Most that a reader's form may hold: its words, and as many photos as one message keeps."""
    return PHOTOS_PER_MESSAGE * settings.photo_limit_bytes + FORM_BYTES


def upload_bytes(settings: Settings) -> int:
    """Most that the page for handing files in takes: the largest file, and what stands around it."""
    return settings.upload_limit_bytes + FORM_BYTES


def bytes_taken(app: Flask, endpoint: str | None, settings: Settings) -> int:
    """Most that the view of an endpoint takes, as it declares by `may`."""
    takes = getattr(app.view_functions.get(endpoint or ""), "takes", None)
    return int(takes(settings)) if takes else FORM_BYTES


def largest_bytes(settings: Settings) -> int:
    """Most that any page takes; a server in front need not take more."""
    return max(reader_form_bytes(settings), upload_bytes(settings))
