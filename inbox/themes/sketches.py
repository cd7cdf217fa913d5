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
from inbox.themes.requests import Request, Wanted, asked_for


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
    vector : ndarray of shape (512,), float32
        Unit vector of the phrase asked for.
    page : str or None
        Slug of the recipe it was written under.
    """

    id: str
    wanted: Wanted
    text: str
    vector: NDArray[np.float32]
    page: str | None = None

    def pack(self) -> str:
        """Write the sketch as JSON; the vector is kept in half precision."""
        vector = base64.b85encode(self.vector.astype("<f2").tobytes()).decode("ascii")
        facets = {name: dict(entries) for name, entries in self.wanted.facets.each() if entries}
        kept = {"id": self.id, "phrase": self.wanted.phrase, "facets": facets, "text": self.text}
        return json.dumps(kept | {"vector": vector, "page": self.page}, ensure_ascii=False)

    @classmethod
    def unpack(cls, packed: str) -> "Sketch":
        """Read what `pack` wrote."""
        kept = json.loads(packed)
        vector = np.frombuffer(base64.b85decode(kept["vector"]), dtype="<f2").astype(np.float32)
        wanted = Wanted(kept["phrase"], Facets(**kept["facets"]))
        return cls(kept["id"], wanted, kept["text"], vector, kept["page"])


def sketch(requests: Sequence[Request]) -> list[Sketch]:
    """Make `requests` ready for comparison, in their order; each distinct phrase is encoded once."""
    wanted = [asked_for(request) for request in requests]
    phrases = sorted({want.phrase for want in wanted})
    vectors = dict(zip(phrases, encode(phrases), strict=True))
    return [
        Sketch(
            id=request.id,
            wanted=want,
            text=request.text,
            vector=vectors[want.phrase],
            page=request.recipe.slug if request.recipe else None,
        )
        for request, want in zip(requests, wanted, strict=True)
    ]
