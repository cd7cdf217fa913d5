"""The one family of errors that the program raises on purpose.

Every message says what was asked, what was found, and what to do. The edges
(`web`, `cli`) turn them into a page or a line; nothing else catches them.
"""


class InboxError(Exception):
    """Something the person in front of the program can mend."""


class InputError(InboxError, ValueError):
    """What was handed in cannot be used as it is; the message says why and what to do."""


class NotFoundError(InboxError, LookupError):
    """No such row; the message names what was looked for."""
