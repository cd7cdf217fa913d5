"""How a line of the log is written: one line an event, and nothing in it that came from a reader.

Every logger of the process, those of libraries among them, goes through `OneLine`.
"""

import logging
from types import TracebackType

from inbox.errors import kind_and_place


class OneLine(logging.Formatter):
    """Writes an event on one line: moment, level, logger, words; of an error only its kind and place.

    References
    ----------
    OWASP ASVS 5.0, 16.4.1 (no log injection): signs that a terminal or a log's reader would obey, line
    ends among them, are written out as escapes.
    """

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s %(message)s")

    def formatMessage(self, record: logging.LogRecord) -> str:
        """The line, with what steers written out."""
        return "".join(
            letter if letter.isprintable() else letter.encode("unicode_escape").decode()
            for letter in super().formatMessage(record)
        )

    def formatException(
        self,
        ei: tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None],
    ) -> str:
        """Kind and place of an error; its message may hold anything."""
        return kind_and_place(ei[1]) if ei[1] is not None else ""

    def format(self, record: logging.LogRecord) -> str:
        """Leave out the pretty traceback that another formatter may have kept."""
        record.exc_text = record.stack_info = None
        return super().format(record).replace("\n", " ")


def log_to_standard_error(level: str) -> None:
    """Send every logger's lines to standard error, as `OneLine` writes them."""
    lines = logging.StreamHandler()
    lines.setFormatter(OneLine())
    logging.basicConfig(level=level, handlers=[lines], force=True)
    # A job that is still at work is not begun twice: no news for a log, and each look would say so.
    logging.getLogger("apscheduler").setLevel(logging.ERROR)
