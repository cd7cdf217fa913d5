"""The server with its limits set to those of the pages, and its own refusals as pages of the house."""

import socket

import waitress
from flask import Flask
from waitress.channel import HTTPChannel
from waitress.server import BaseWSGIServer
from waitress.task import ErrorTask

from inbox.settings import Settings
from inbox.web.sizes import largest_bytes
from inbox.web.trouble import page_of_server

_REFUSED = (400, 413, 431, 500, 501)
"""What waitress answers by itself: no request, too large, too much in its head, a mistake, not known."""


def make_server(app: Flask, settings: Settings, listening: socket.socket, *, threads: int) -> BaseWSGIServer:
    """Server on a bound socket that takes what the largest page takes, and not a byte more.

    What is larger is refused by its stated length, before a byte of it is kept.
    """
    server = waitress.create_server(
        app,
        sockets=[listening],
        threads=threads,
        ident=None,
        # Waitress refuses what reaches the limit.
        max_request_body_size=largest_bytes(settings) + 1,
    )
    pages = {status: page_of_server(app, status) for status in _REFUSED}

    class Refusal(ErrorTask):  # type: ignore[misc]  # waitress has no types
        """A refusal of the server, said as the pages say theirs."""

        def execute(self) -> None:
            page = pages[self.request.error.code]
            body = page.get_data()
            self.status = page.status
            self.response_headers = [pair for pair in page.headers if pair[0] != "Content-Length"]
            self.set_close_on_finish()
            self.content_length = len(body)
            self.write(body)

    class Channel(HTTPChannel):  # type: ignore[misc]
        """A connection whose refusals are pages."""

        error_task_class = Refusal

    server.channel_class = Channel
    return server
