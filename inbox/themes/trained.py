"""The measure of likeness that the program starts with, fitted on the training requests that ship."""

from inbox.reading.training import seed_messages
from inbox.themes.likeness import Likeness, fit_likeness
from inbox.themes.requests import Request
from inbox.themes.sketches import sketch


def seed_likeness() -> Likeness:
    """Fit a likeness on the requests of `seed_data/messages`."""
    asked = [message for message in seed_messages() if message.theme]
    sketches = sketch([Request(one.id, one.told.text, one.told.subject) for one in asked])
    return fit_likeness(sketches, [str(one.theme) for one in asked])
