"""The application factory."""

from collections.abc import Callable
from datetime import datetime

from flask import Flask
from sqlalchemy import Engine
from werkzeug.middleware.proxy_fix import ProxyFix

from inbox.pipeline.rounds import Kitchen
from inbox.places import templates_folder
from inbox.settings import Settings
from inbox.web import packing, phrasing, request_lines, safety, still, trouble
from inbox.web.areas import (
    bringing,
    checking,
    digests,
    entry,
    hazards,
    home,
    house,
    messages,
    owner,
    reader_forms,
    readers,
    recipes,
    replies,
    second_look,
    take_out,
    themes,
    work,
    your_sign_in,
)
from inbox.web.installation import Installation, remember, utc_now
from inbox.web.row_numbers import RowNumber

AREAS = (
    bringing, checking, digests, entry, hazards, home, house, messages, owner,
    reader_forms, readers, recipes, replies, second_look, take_out, themes, work, your_sign_in,
)  # fmt: skip


def create_app(
    settings: Settings,
    engine: Engine,
    *,
    clock: Callable[[], datetime] = utc_now,
    kitchen: Kitchen | None = None,
) -> Flask:
    """Make the web application.

    Parameters
    ----------
    settings : Settings
        Given from outside; what the owner saved in the ledger is laid over it at each request.
    engine : Engine
        The ledger, with its tables in their newest form (`records.migrate.upgrade`).
    clock : callable, optional
        Gives the present moment.
    kitchen : Kitchen, optional
        Where the process has one already, so that it holds its models once.
    """
    app = Flask(__name__, template_folder=str(templates_folder()), static_folder=None)
    here = Installation(settings, engine, clock, kitchen or Kitchen(settings))
    remember(app, here)
    app.config.update(
        SECRET_KEY=here.make_key(),
        SESSION_COOKIE_NAME="__Host-second-batch-note" if here.is_https else "second-batch-note",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=here.is_https,
    )
    for part in (request_lines, safety, trouble, phrasing, still, packing):
        part.install(app)
    app.url_map.converters["int"] = RowNumber
    for area in AREAS:
        app.register_blueprint(area.area)
    if settings.trusted_proxies:
        hops = settings.trusted_proxies
        app.wsgi_app = ProxyFix(app.wsgi_app, x_for=hops, x_proto=hops, x_host=hops)  # type: ignore[method-assign]
    return app
