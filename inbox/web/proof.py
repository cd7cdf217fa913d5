"""Signed words that a form carries from one step to the next, so that nothing is kept between them."""

from typing import Any, cast

from flask import current_app
from itsdangerous import BadSignature, URLSafeTimedSerializer

MINUTES = 10
"""How long a step may take; chosen for finding a phone."""


def make_proof(purpose: str, facts: dict[str, Any]) -> str:
    """`facts` signed for one purpose; they can be read by whoever holds the page, and not be changed."""
    return str(_signer(purpose).dumps(facts))


def read_proof(purpose: str, proof: str) -> dict[str, Any] | None:
    """The facts, or None where they were not signed by us for this purpose within the time."""
    try:
        return cast(dict[str, Any], _signer(purpose).loads(proof, max_age=60 * MINUTES))
    except BadSignature:
        return None


def _signer(purpose: str) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(current_app.secret_key or "", salt=f"proof: {purpose}")
