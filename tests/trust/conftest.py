"""The application over a ledger of its own, as the tests of the pages have it."""

from tests.web.conftest import (  # noqa: F401  (fixtures are found by their names)
    app,
    empty_ledger,
    fresh_engine,
    helper,
    ledger,
    nobody,
    owner,
    sign_in,
)
