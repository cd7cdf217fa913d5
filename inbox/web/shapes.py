"""The shapes of what programs ask and get, as JSON Schema (draft 2020-12, which OpenAPI 3.1 uses)."""

from collections.abc import Mapping
from typing import Any

from inbox.intake.mention import URL_LIMIT
from inbox.records.tables import APART, DOORS
from inbox.words import CHANNELS, FAULTS, HAZARDS, KINDS, OUTCOMES

Schema = dict[str, Any]


def one_of(*words: str | None) -> Schema:
    """One of these words; None stands for null."""
    return {"enum": list(words)}


def list_of(schema: Schema) -> Schema:
    """A list of any length."""
    return {"type": "array", "items": schema}


def thing(required: Mapping[str, Schema], optional: Mapping[str, Schema] | None = None) -> Schema:
    """An object with these fields; it may hold more than is named here."""
    return {"type": "object", "required": list(required), "properties": {**required, **(optional or {})}}


WORDS: Schema = {"type": "string"}
WORDS_OR_NONE: Schema = {"type": ["string", "null"]}
_MOMENT: Schema = {"type": "string", "format": "date-time"}
_DAY: Schema = {"type": "string", "format": "date"}

_LABELS = thing(
    {
        "kinds": list_of(one_of(*KINDS)),
        "outcome": one_of(*OUTCOMES, None),
        "faults": list_of(one_of(*FAULTS)),
        "hazard": one_of(*HAZARDS, None),
        "recipe": WORDS_OR_NONE,
        "language": WORDS_OR_NONE,
    }
)
MESSAGE = thing(
    {
        "id": WORDS,
        "number": {"type": "integer"},
        "channel": one_of(*CHANNELS),
        "received_at": _MOMENT,
        "name": WORDS_OR_NONE,
        "email": WORDS_OR_NONE,
        "handle": WORDS_OR_NONE,
        "recipe": WORDS_OR_NONE,
        "subject": WORDS_OR_NONE,
        "text": WORDS,
        "stars": {"type": ["number", "null"], "minimum": 1, "maximum": 5},
        "in_reply_to": WORDS_OR_NONE,
        "reply_wanted": {"type": "boolean"},
        "may_quote": {"type": "boolean"},
    },
    {"kept_apart": one_of(*APART), "labels": _LABELS},
)
"""One line of the project's own JSONL; see README.md, "Formats of its own"."""

ALL_ABOUT = thing(
    {
        "reader": thing({"id": {"type": "integer"}, "first_seen_at": _MOMENT}),
        "messages": list_of(
            thing(
                {
                    "id": {"type": "integer"},
                    "key": WORDS,
                    "door": one_of(*DOORS),
                    "channel": one_of(*CHANNELS),
                    "received_at": _MOMENT,
                    "read_as": {"type": ["object", "null"]},
                    "counts_as": {"type": ["object", "null"]},
                    "photos": {"type": "integer", "minimum": 0},
                    "original_kept": {"type": "boolean"},
                }
            )
        ),
        "replies": list_of(thing({"id": {"type": "integer"}, "state": WORDS})),
    }
)

_PERSON = thing({"@type": {"const": "Person"}, "name": WORDS})
MARKED_UP = thing(
    {"@context": {"const": "https://schema.org"}, "@type": {"const": "Recipe"}, "name": WORDS},
    {
        "url": WORDS,
        "review": list_of(
            thing(
                {
                    "@type": {"const": "Review"},
                    "author": _PERSON,
                    "datePublished": _DAY,
                    "reviewBody": WORDS,
                },
                {
                    "reviewRating": thing(
                        {
                            "@type": {"const": "Rating"},
                            "ratingValue": {"type": "number"},
                            "bestRating": {"const": 5},
                        }
                    )
                },
            )
        ),
        "comment": list_of(
            thing({"@type": {"const": "Comment"}, "author": _PERSON, "datePublished": _DAY, "text": WORDS})
        ),
    },
)

_NUMBER: Schema = {"type": "string", "pattern": "^[0-9]{0,18}$"}
SEARCH: dict[str, Schema] = {
    "words": WORDS,
    "kind": one_of("", *KINDS),
    "outcome": one_of("", *OUTCOMES),
    "fault": one_of("", *FAULTS),
    "hazard": one_of("", "any", *HAZARDS),
    "recipe": WORDS,
    "reader": _NUMBER,
    "door": one_of("", *DOORS),
    "language": WORDS,
    "since": {"anyOf": [{"const": ""}, _DAY]},
    "until": {"anyOf": [{"const": ""}, _DAY]},
    "quotable": WORDS,
    "apart": WORDS,
    "run": _NUMBER,
    "theme": _NUMBER,
    "only": {"type": "string", "pattern": "^([0-9]{1,18}(,[0-9]{1,18})*)?$"},
}
"""Fields of a search; an empty one asks for nothing."""

_URL: Schema = {"type": "string", "format": "uri", "minLength": 1, "maxLength": URL_LIMIT}
MENTION: Schema = {
    "type": "object",
    "required": ["source", "target"],
    "properties": {"source": _URL, "target": _URL},
}
LINES: Schema = {
    "type": "string",
    "description": "One message a line.",
    "contentMediaType": "application/json",
    "contentSchema": {"$ref": "#/components/schemas/Message"},
}
