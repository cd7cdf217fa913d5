"""The description of what programs can ask: whole, right, and held to by schemathesis (OpenAPI 3.1)."""

import json
from datetime import datetime

import jsonschema_rs
import pytest
import schemathesis
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance
from sqlalchemy.orm import Session

from inbox.web.application import AREAS
from inbox.web.description import DESCRIBED, describe, path_of
from tests.trust.test_locked_doors import routes
from tests.web.filled import fill
from tests.web.test_doors import addresses

EXAMPLES = 40
"""Generated requests an operation, beside those that take each named word and each border once."""
JSON_TYPES = ("application/json", "application/ld+json", "application/x-ndjson")


@pytest.fixture
def rows(ledger: Session, now: datetime) -> None:
    """A site with the recipe and the reader that the description gives as examples."""
    fill(ledger, now=now, limit=30)
    ledger.commit()


def described() -> schemathesis.BaseSchema:
    """Description of the routes alone; each test then asks an application with a ledger of its own.

    Who may is left out: everything is asked as the owner here, and as others in `tests/web/test_doors.py`.
    """
    bare = Flask("bare")
    for area in AREAS:
        bare.register_blueprint(area.area)
    description = describe(bare, "second-batch")
    for operations in description["paths"].values():
        for operation in operations.values():
            operation["security"] = []
    loaded = schemathesis.openapi.from_dict(description)
    loaded.app = bare
    return loaded


@described().parametrize()
@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_answers_are_as_described(
    case: schemathesis.Case, app: Flask, owner: FlaskClient, rows: None
) -> None:
    """Every built-in check but one: which recipes and sites there are, no schema can say."""
    token = owner.get_cookie("second-batch")
    assert token is not None
    case.call_and_validate(
        app=app, cookies={"second-batch": token.value}, excluded_checks=[positive_data_acceptance]
    )


@pytest.mark.parametrize("endpoint", DESCRIBED)
def test_example_of_each_is_answered_as_wished(
    endpoint: str, app: Flask, owner: FlaskClient, rows: None
) -> None:
    """So that the answers above are not all refusals."""
    ((path, operations),) = (
        (path, operations)
        for path, operations in describe(app, "second-batch")["paths"].items()
        if any(one["operationId"] == endpoint for one in operations.values())
    )
    ((method, operation),) = operations.items()
    examples = {one["name"]: one["example"] for one in operation["parameters"] if "example" in one}
    mention = {
        "source": "https://ada.example/",
        "target": "https://slowcrumb.example/recipes/seeded-rye-loaf",
    }
    answer = owner.open(path.format(**examples), method=method, data=mention if method == "post" else None)
    wished = min(int(status) for status in operation["responses"])
    assert answer.status_code == wished
    assert answer.mimetype in operation["responses"][str(wished)]["content"]


def test_every_address_that_answers_json_is_described(app: Flask, owner: FlaskClient, rows: None) -> None:
    """Walk over the route map, with rows for each address to find."""
    paths = owner.get("/openapi.json").json["paths"]
    found = set()
    for method in ("GET", "POST"):
        for rule in routes(app, method):
            for address in addresses(rule):
                for row in ("999", "1"):
                    real = address.replace("999", row).replace("nothing", "seeded-rye-loaf")
                    answer = owner.open(real, method=method)
                    if answer.mimetype in JSON_TYPES or answer.is_json:
                        found.add(path_of(rule))
                        assert method.lower() in paths.get(path_of(rule), {}), rule.rule
    assert len(found) == 4


def test_each_line_handed_out_is_a_message_as_described(owner: FlaskClient, rows: None) -> None:
    """What is within a line of JSONL, schemathesis does not look at."""
    description = owner.get("/openapi.json").json
    is_message = jsonschema_rs.Draft202012Validator(
        {**description["components"]["schemas"]["Message"]}, validate_formats=True
    )
    lines = owner.get("/take-out/messages.jsonl").text.splitlines()
    assert len(lines) == 30
    for line in lines:
        is_message.validate(json.loads(line))
    with pytest.raises(jsonschema_rs.ValidationError):
        is_message.validate({**json.loads(lines[0]), "stars": 6})


@pytest.mark.parametrize(
    ("query", "words"),
    [("since=yesterday", "is no day"), ("kind=praise", "There is no kind"), ("only=1,x", "cannot be read")],
)
def test_a_file_is_never_more_than_was_asked_for(
    owner: FlaskClient, rows: None, query: str, words: str
) -> None:
    answer = owner.get(f"/take-out/messages.jsonl?{query}")
    assert (answer.status_code, words in answer.text) == (422, True)
