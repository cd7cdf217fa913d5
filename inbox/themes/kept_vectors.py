"""Writes the vectors of all texts that the measure of likeness is fitted on.

Run `python -m inbox.themes.kept_vectors` after the messages or the food words in
`seed_data` have changed. Rows are kept as 8-bit whole numbers; they are brought
back to length 1 when they are read.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from inbox.places import seed_folder
from inbox.reading.encoder import encode_anew, kept_path, vector_key
from inbox.reading.training import load_catalogue, seed_messages
from inbox.themes.requests import Request, full_text
from inbox.themes.vocabulary import vocabulary


def fitting_texts() -> list[str]:
    """Every text that fitting on the shipped messages places in the space of meanings, each once."""
    texts = {text for _, text in vocabulary().paraphrases}
    texts |= {entry.shown for entry in vocabulary().entries.values()}
    for one in seed_messages():
        if one.theme and one.wants:
            texts.add(full_text(Request(one.id, one.told.text, one.told.subject)))
            texts.add(full_text(Request(one.id, one.wants)))
    for path in sorted((seed_folder() / "messages").glob("*_recipes.json")):
        texts |= {recipe.title for recipe in load_catalogue(path)}
    return sorted(texts)


def keep(path: Path, texts: Sequence[str]) -> None:
    """Encode `texts` and write their rows to `path`."""
    rows = encode_anew(texts)
    small = np.round(rows / np.abs(rows).max(axis=1, keepdims=True) * 127).astype(np.int8)
    keys = np.frombuffer(b"".join(vector_key(text) for text in texts), dtype=np.uint8).reshape(-1, 16)
    np.savez_compressed(path, keys=keys, rows=small)


if __name__ == "__main__":
    keep(kept_path(), fitting_texts())
