"""Encoder rows of the messages that ship, so that the first start trains in seconds.

The file is only a saving: a message whose words are not in it is encoded as any other. Rows are kept as 8-bit
whole numbers with one scale a row. `python -m inbox.reading.kept_rows` writes the file anew; do so after the
messages in `seed_data` have changed. Start with `encode_known`.
"""

import hashlib
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np

from inbox.places import seed_folder
from inbox.reading.contextual import LAYERS, ROW, SHA256, Rows, encode_sentences
from inbox.reading.prepared import cut_clauses
from inbox.reading.training import seed_messages

_Kept = dict[bytes, tuple[Rows, Rows]]


def encode_known(messages: Sequence[Sequence[str]]) -> tuple[Rows, Rows]:
    """As `contextual.encode_sentences`, but what was kept is not encoded again."""
    kept = _kept()
    keys = [_key(message) for message in messages]
    unknown = [place for place, key in enumerate(keys) if key not in kept]
    whole, parts = encode_sentences([messages[place] for place in unknown])
    found = {place: kept[key] for place, key in enumerate(keys) if key in kept}
    first = 0
    for number, place in enumerate(unknown):
        found[place] = (whole[number], parts[first : first + len(messages[place])])
        first += len(messages[place])
    if not found:
        return whole, parts
    in_order = [found[place] for place in range(len(messages))]
    return np.stack([row for row, _ in in_order]), np.concatenate([rows for _, rows in in_order])


def keep(path: Path, messages: Sequence[Sequence[str]]) -> None:
    """Encode `messages`, each as its clauses, and write their rows to `path`."""
    whole, parts = encode_sentences(messages)
    rows, scales = _small(np.concatenate([whole, parts]))
    keys = np.frombuffer(b"".join(_key(message) for message in messages), dtype=np.uint8).reshape(-1, 16)
    np.savez_compressed(path, keys=keys, counts=[len(m) for m in messages], rows=rows, scales=scales)


@cache
def _kept() -> _Kept:
    path = _path()
    if not path.is_file():
        return {}
    with np.load(path, allow_pickle=False) as file:
        rows = file["rows"].astype(np.float32) * file["scales"][:, None]
        keys, counts = file["keys"], file["counts"]
    firsts = len(keys) + np.cumsum([0, *counts])
    return {
        bytes(key): (rows[number], rows[firsts[number] : firsts[number + 1]])
        for number, key in enumerate(keys)
    }


def _path() -> Path:
    return seed_folder() / "encoder" / "rows.npz"


def _key(message: Sequence[str]) -> bytes:
    """Of the words and of the encoder: with other weights or layers nothing that was kept is found."""
    marks = (*message, *SHA256.values(), f"{LAYERS} layers, {ROW} numbers")
    return hashlib.sha256("\x1f".join(marks).encode()).digest()[:16]


def _small(rows: Rows) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.int8]], Rows]:
    scales = np.abs(rows).max(axis=1) / np.float32(127)
    return np.round(rows / scales[:, None]).astype(np.int8), scales


if __name__ == "__main__":
    keep(_path(), cut_clauses([message.told for message in seed_messages()]))
