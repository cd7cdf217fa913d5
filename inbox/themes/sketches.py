"""Requests made ready for comparison: what is asked for, and where that lies in the space of meanings.

Making a sketch costs a pass through the sentence encoder, so a caller keeps
sketches and makes each once; `Sketch.pack` and `Sketch.unpack` turn one into
text for storing. Start with `sketch`.
"""

import base64
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from inbox.places import seed_folder
from inbox.reading.encoder import encode
from inbox.themes.facets import Facets
from inbox.themes.requests import Request, Wanted, asked_for, full_text


@lru_cache(maxsize=1)
def sketch_version() -> str:
    """Name of the code and tables that sketches are made by; a sketch of another version is made anew."""
    digest = hashlib.sha256()
    own = Path(__file__).parent
    for name in ("facets.py", "phrase.py", "requests.py", "sketches.py", "vocabulary.py"):
        digest.update((own / name).read_bytes())
    digest.update((seed_folder() / "food_words.json").read_bytes())
    return digest.hexdigest()[:16]


@dataclass(frozen=True, slots=True, eq=False)
class Sketch:
    """What the grouping needs to know of one request.

    Attributes
    ----------
    id : str
        The message's id.
    text : str
        Subject and text.
    vector : ndarray of shape (512,), float32
        Unit vector of `text`.
    page : str or None
        Slug of the recipe it is about.
    title : ndarray of shape (512,), float32, or None
        Unit vector of that recipe's title.
    """

    id: str
    wanted: Wanted
    text: str
    vector: NDArray[np.float32]
    page: str | None = None
    title: NDArray[np.float32] | None = None

    def pack(self) -> str:
        """Write the sketch as JSON; vectors are kept in half precision."""
        facets = {name: dict(entries) for name, entries in self.wanted.facets.each() if entries}
        kept = {"id": self.id, "phrase": self.wanted.phrase, "facets": facets, "text": self.text}
        vectors = {"vector": _packed(self.vector), "title": _packed(self.title), "page": self.page}
        return json.dumps(kept | vectors, ensure_ascii=False)

    @classmethod
    def unpack(cls, packed: str) -> "Sketch":
        """Read what `pack` wrote."""
        kept = json.loads(packed)
        wanted = Wanted(kept["phrase"], Facets(**kept["facets"]))
        title = _unpacked(kept["title"]) if kept["title"] else None
        return cls(kept["id"], wanted, kept["text"], _unpacked(kept["vector"]), kept["page"], title)


def sketch(requests: Sequence[Request]) -> list[Sketch]:
    """Make `requests` ready for comparison, in their order; each distinct text is encoded once."""
    texts = [full_text(request) for request in requests]
    titles = [request.recipe.title if request.recipe else None for request in requests]
    distinct = sorted({*texts, *(title for title in titles if title)})
    vectors = dict(zip(distinct, encode(distinct), strict=True))
    return [
        Sketch(
            id=request.id,
            wanted=asked_for(request),
            text=text,
            vector=vectors[text],
            page=request.recipe.slug if request.recipe else None,
            title=vectors[title] if title else None,
        )
        for request, text, title in zip(requests, texts, titles, strict=True)
    ]


def _packed(vector: NDArray[np.float32] | None) -> str | None:
    return None if vector is None else base64.b85encode(vector.astype("<f2").tobytes()).decode("ascii")


def _unpacked(packed: str) -> NDArray[np.float32]:
    return np.frombuffer(base64.b85decode(packed), dtype="<f2").astype(np.float32)
