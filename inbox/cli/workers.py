"""The application as gunicorn asks for it: several web processes on one PostgreSQL."""

from datetime import UTC, datetime

from flask import Flask

from inbox.cli.log_lines import log_to_standard_error
from inbox.cli.site import Site
from inbox.errors import InputError
from inbox.settings import load
from inbox.sparing import spare_collection
from inbox.web.application import create_app


def pages() -> Flask:
    """Make the application of one worker, from the environment and the settings file.

    Migrations run under an advisory lock, so that workers may start at once. The
    schedule is kept beside them by `second-batch schedule`.

    Raises
    ------
    InputError
        On SQLite, whose one process also keeps the schedule: that is `second-batch serve`.
    """
    settings, origins = load({})
    if not settings.database_url:
        raise InputError("Several workers need PostgreSQL: set database_url, or run second-batch serve.")
    log_to_standard_error(settings.log_level)
    app = create_app(settings, Site(settings, origins).open(make=True), clock=lambda: datetime.now(UTC))
    spare_collection()
    return app
