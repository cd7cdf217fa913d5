"""What programs can ask of this service, described in OpenAPI 3.1.

Path, method, the parts of the path and who may are read off the route map, so that they cannot disagree with
it. What else is asked for and what is answered stands here, by endpoint. Pages for people are not described.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.metadata import version
from typing import Any

from flask import Flask
from werkzeug.routing import Rule

from inbox.web.shapes import ALL_ABOUT, LINES, MARKED_UP, MENTION, MESSAGE, SEARCH, WORDS, Schema

_PART = re.compile(r"<(?:(?P<type>\w+)(?:\((?P<words>[^)]*)\))?:)?(?P<name>\w+)>")
"""One part of a rule that is filled in: `<slug>`, `<int:reader_id>`, `<any(csv, jsonl):kind>`."""
_LARGEST_ROW = 10**18 - 1
"""Largest number of a row that an address takes; see `row_numbers`."""


@dataclass(frozen=True)
class Described:
    """What one endpoint is asked and answers, beside what its route says."""

    answers: Mapping[int, Schema]
    query: Mapping[str, Schema] = field(default_factory=dict)
    form: Schema | None = None
    examples: Mapping[str, Any] = field(default_factory=dict)
    """A sensible value for each part of the path."""


def describe(app: Flask, cookie: str) -> dict[str, Any]:
    """Describe the addresses of `app` that programs use.

    Parameters
    ----------
    app : Flask
        Only its route map and its views are looked at.
    cookie : str
        Name of the cookie by which somebody is signed in.

    Returns
    -------
    dict
        An OpenAPI 3.1 document, as values that JSON can hold. https://spec.openapis.org/oas/v3.1.1.html
    """
    paths: dict[str, dict[str, Any]] = {}
    for rule in sorted(app.url_map.iter_rules(), key=lambda rule: rule.rule):
        described = DESCRIBED.get(rule.endpoint)
        if described is not None:
            view = app.view_functions[rule.endpoint]
            who: frozenset[str] = getattr(view, "may")  # noqa: B009 (declared by a decorator, not by a class)
            operation = _operation(rule, described, who, (view.__doc__ or "").strip().splitlines()[0])
            for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}:
                paths.setdefault(path_of(rule), {})[method.lower()] = operation
    return {
        "openapi": "3.1.1",
        "info": {"title": "Second Batch", "version": version("second-batch")},
        "paths": paths,
        "components": {
            "schemas": {"Message": MESSAGE, "AllAboutAReader": ALL_ABOUT, "MarkedUpRecipe": MARKED_UP},
            "securitySchemes": {"signedIn": {"type": "apiKey", "in": "cookie", "name": cookie}},
        },
    }


def path_of(rule: Rule) -> str:
    """Path of a rule as OpenAPI writes it: `/readers/<int:reader_id>` is `/readers/{reader_id}`."""
    return _PART.sub(r"{\g<name>}", rule.rule)


def _operation(rule: Rule, described: Described, who: frozenset[str], summary: str) -> dict[str, Any]:
    answers = {**_usual_answers(rule, who), **described.answers}
    operation: dict[str, Any] = {
        "operationId": rule.endpoint,
        "summary": summary,
        "parameters": [
            *(_path_parameter(part, described) for part in _PART.finditer(rule.rule)),
            *({"name": name, "in": "query", "schema": schema} for name, schema in described.query.items()),
        ],
        "responses": {str(status): answers[status] for status in sorted(answers)},
        "security": [] if "anyone" in who else [{"signedIn": []}],
    }
    if described.form is not None:
        content = {"application/x-www-form-urlencoded": {"schema": described.form}}
        operation["requestBody"] = {"required": True, "content": content}
    return operation


def _path_parameter(part: re.Match[str], described: Described) -> dict[str, Any]:
    schema: Schema = {"type": "string", "pattern": "^[^/]+$"}
    if part["type"] == "int":
        schema = {"type": "integer", "minimum": 0, "maximum": _LARGEST_ROW}
    elif part["type"] == "any":
        schema = {"type": "string", "enum": [word.strip() for word in part["words"].split(",")]}
    parameter = {"name": part["name"], "in": "path", "required": True, "schema": schema}
    if part["name"] in described.examples:
        parameter["example"] = described.examples[part["name"]]
    return parameter


def _usual_answers(rule: Rule, who: frozenset[str]) -> dict[int, Schema]:
    """What every address may answer by the house's rules: refusals, as pages."""
    found = {400: _page("The request cannot be made sense of.")}
    if "anyone" not in who:
        found[303] = _page("Nobody is signed in; leads to the sign-in.")
    if "helper" not in who and "owner" in who:
        found[403] = _page("This is the owner's.")
    if rule.arguments:
        found[404] = _page("There is no such thing.")
    return found


def _answer(words: str, **content: Schema) -> Schema:
    return {"description": words, "content": {kind: {"schema": schema} for kind, schema in content.items()}}


def _page(words: str) -> Schema:
    return _answer(words, **{"text/html": WORDS})


def _plain(words: str) -> Schema:
    return _answer(words, **{"text/plain": WORDS})


def _ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


DESCRIBED: dict[str, Described] = {
    "house.healthz": Described({200: _plain("The process answers.")}),
    "house.readyz": Described(
        {200: _plain("The ledger can be read."), 503: _plain("It cannot, or has an older form.")}
    ),
    "house.show_description": Described(
        {200: _answer("This description.", **{"application/json": {"type": "object"}})}
    ),
    "take_out.take_messages": Described(
        {
            200: _answer("The messages found.", **{"application/x-ndjson": LINES, "text/csv": WORDS}),
            422: _page("A field of the search cannot be understood; nothing is handed out."),
        },
        query=SEARCH,
        examples={"kind": "jsonl"},
    ),
    "take_out.take_reviews": Described(
        {200: _answer("Marked up by schema.org.", **{"application/ld+json": _ref("MarkedUpRecipe")})},
        examples={"slug": "seeded-rye-loaf"},
    ),
    "readers.hand_out": Described(
        {
            200: _answer(
                "All that is held.", **{"application/json": _ref("AllAboutAReader"), "text/html": WORDS}
            )
        },
        examples={"reader_id": 1, "kind": "json"},
    ),
    "reader_forms.take_mention": Described(
        {
            202: _plain("The mention waits for its verification."),
            400: _page("An address cannot be used, or is not of this site."),
            413: _page("More than an ordinary form may hold."),
        },
        form=MENTION,
    ),
}
