"""Who may open what: every route declares it, and each is tried as nobody, helper and owner."""

from collections.abc import Callable, Iterator
from itertools import product

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.routing import AnyConverter, BaseConverter, IntegerConverter, Rule

BEGINNING = ("owner.show_setup", "owner.begin")
"""Open to anyone only until there is an owner; tried in test_owner."""

ROLES = frozenset({"owner", "helper", "anyone"})


def _routes(app: Flask) -> Iterator[tuple[Rule, str]]:
    for rule in app.url_map.iter_rules():
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            yield rule, method


def addresses(rule: Rule) -> list[str]:
    """Addresses that the rule matches, one for each word it names; numbers and names are of nothing."""

    def values(name: str, converter: BaseConverter) -> list[str]:
        if isinstance(converter, AnyConverter):
            return sorted(converter.items)
        return [
            "999" if isinstance(converter, IntegerConverter) else "2026-W40" if name == "week" else "nothing"
        ]

    parts = {name: values(name, converter) for name, converter in rule._converters.items()}
    built = [rule.build(dict(zip(parts, chosen, strict=True))) for chosen in product(*parts.values())]
    return [made[1] for made in built if made]


def test_every_route_says_who_may(app: Flask) -> None:
    undeclared = [
        rule.rule for rule, _ in _routes(app) if not hasattr(app.view_functions[rule.endpoint], "may")
    ]

    assert undeclared == []
    for rule, _ in _routes(app):
        who = app.view_functions[rule.endpoint].may
        assert who
        assert who <= ROLES, rule.rule


def test_each_is_tried_as_nobody_helper_and_owner(
    app: Flask, nobody: FlaskClient, sign_in: Callable[..., FlaskClient]
) -> None:
    """A client that signs itself out, or is used up, is made anew, so that each try stands alone."""
    clients = {"nobody": nobody, "helper": sign_in("Tom", "helper"), "owner": sign_in("Ines", "owner")}
    tried = 0
    for rule, method in _routes(app):
        who = app.view_functions[rule.endpoint].may
        if rule.endpoint in ("entry.sign_out", *BEGINNING):
            continue
        for name, client in clients.items():
            answer = client.open(addresses(rule)[0], method=method)
            turned_away = (answer.status_code == 303 and answer.location.startswith("/sign-in")) or (
                answer.status_code in (401, 403)
            )
            allowed = "anyone" in who or name in who
            assert turned_away is not allowed, f"{method} {rule.rule} as {name}: {answer.status}"
            assert answer.status_code < 500, f"{method} {rule.rule} as {name}: {answer.status}"
            tried += 1
    assert tried > 40


def test_settings_and_accounts_are_the_owners(app: Flask) -> None:
    for rule, _ in _routes(app):
        if rule.rule.startswith(("/settings", "/style", "/accounts")):
            assert app.view_functions[rule.endpoint].may == {"owner"}, rule.rule


def test_signing_in_and_out(app: Flask, owner: FlaskClient, nobody: FlaskClient) -> None:
    assert owner.get("/contents").status_code == 200
    stolen = owner.get_cookie("second-batch")
    owner.post("/sign-out")

    assert owner.get("/contents").status_code == 303
    nobody.set_cookie("second-batch", stolen.value)
    assert nobody.get("/contents").status_code == 303, "a token is worth nothing after the sign-out"


@pytest.mark.parametrize(
    "then", ["https://evil.example/", "//evil.example", "/\\evil.example", "/a\nb", "javascript:x"]
)
def test_nobody_is_led_elsewhere(owner: FlaskClient, then: str) -> None:
    answer = owner.get("/sign-in", query_string={"then": then})

    assert answer.location == "/"


def test_words_typed_before_the_sign_in_ended_are_kept(
    app: Flask, nobody: FlaskClient, sign_in: Callable[..., FlaskClient]
) -> None:
    from inbox.records import accounts
    from inbox.records.engine import make_sessions
    from inbox.web.installation import Installation

    here: Installation = app.extensions["second_batch"]
    with make_sessions(here.engine).begin() as session:
        accounts.create_account(session, "Ines", "owner", "rye and caraway", now=here.clock())
    answer = nobody.post("/messages/1/labels", data={"touch": "kind:problem", "words": "My <long> words"})
    assert answer.status_code == 401
    assert 'name="kept:words" value="My &lt;long&gt; words"' in answer.text

    kept = {"kept:touch": "kind:problem", "kept:words": "My <long> words", "then": "/messages/1/labels"}
    wrong = nobody.post("/sign-in", data={"name": "Ines", "password": "not this one", **kept})
    assert wrong.status_code == 422
    assert "My &lt;long&gt; words" in wrong.text
    answer = nobody.post("/sign-in", data={"name": "Ines", "password": "rye and caraway", **kept})
    assert answer.status_code == 200
    assert 'action="/messages/1/labels"' in answer.text
    assert "My &lt;long&gt; words" in answer.text
    assert nobody.get("/contents").status_code == 200
