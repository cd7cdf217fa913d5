"""The one family of errors that the program raises on purpose.

Every message says what was asked, what was found, and what to do. The edges
(`web`, `cli`) turn them into a page or a line; nothing else catches them.
"""

from pathlib import Path
from traceback import extract_tb

_OURS = Path(__file__).parent


class InboxError(Exception):
    """Something the person in front of the program can mend."""


class InputError(InboxError, ValueError):
    """What was handed in cannot be used as it is; the message says why and what to do."""


class NotFoundError(InboxError, LookupError):
    """No such row; the message names what was looked for."""


def kind_and_place(error: BaseException) -> str:
    """What kind of error it is and where it arose, on one line and without its message.

    The message of a library's error may hold the values that it stumbled over: a reader's
    words, or an address. The newest call stands first, then those of this program;
    causes follow after "from".
    """
    frames = extract_tb(error.__traceback__)[::-1]
    told = [frame for at, frame in enumerate(frames) if not at or Path(frame.filename).is_relative_to(_OURS)]
    places = " < ".join(f"{Path(frame.filename).name}:{frame.lineno}" for frame in told[:12])
    here = f"{type(error).__name__} at {places or 'no place'}"
    before = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    return f"{here} from {kind_and_place(before)}" if before is not None else here
