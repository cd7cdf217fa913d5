"""Reads the contextual encoder's weights out of its ONNX file, without a runtime for such files.

Only what this one file needs: its stored arrays, in the order in which the layers use them. Large arrays are
8-bit whole numbers with one scale a column (a row for word vectors). Start with `read_weights`.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

_MODEL_GRAPH: Final = 7
_GRAPH_INITIALIZER: Final = 5
_TENSOR_DIMS, _TENSOR_TYPE, _TENSOR_NAME, _TENSOR_BYTES = 1, 2, 8, 9
"""Field numbers of onnx.proto."""

_TYPES: Final[dict[int, type[np.generic]]] = {1: np.float32, 3: np.int8}

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer; matrices are of shape (n_in, n_out)."""

    query_key_value: Floats
    query_key_value_bias: Floats
    out: Floats
    out_bias: Floats
    out_norm: tuple[Floats, Floats]
    up: Floats
    up_bias: Floats
    down: Floats
    down_bias: Floats
    down_norm: tuple[Floats, Floats]


@dataclass(frozen=True, slots=True)
class Weights:
    """Word vectors stay whole numbers (12 MB) and are scaled row by row when used."""

    words: NDArray[np.int8]
    word_scales: Floats
    positions: Floats
    first_segment: Floats
    norm: tuple[Floats, Floats]
    layers: tuple[Layer, ...]


def read_weights(content: bytes, *, layers: int) -> Weights:
    """The first `layers` layers of the model in the ONNX file `content`."""
    arrays = _arrays(content)
    matrices = [name.removesuffix("_q") for name in arrays if name.startswith("val_") and name.endswith("_q")]

    def whole(name: str) -> Floats:
        scaled: Floats = arrays[f"{name}_q"].astype(np.float32) * arrays[f"{name}_scale"]
        return scaled

    def norm(name: str) -> tuple[Floats, Floats]:
        return arrays[f"{name}.LayerNorm.weight"], arrays[f"{name}.LayerNorm.bias"]

    def layer(number: int) -> Layer:
        query, key, value, out, up, down = (whole(name) for name in matrices[6 * number : 6 * number + 6])
        at = f"inner.encoder.layer.{number}"
        biases = [arrays[f"{at}.attention.self.{part}.bias"] for part in ("query", "key", "value")]
        return Layer(
            query_key_value=np.ascontiguousarray(np.concatenate([query, key, value], axis=1)),
            query_key_value_bias=np.concatenate(biases),
            out=out,
            out_bias=arrays[f"{at}.attention.output.dense.bias"],
            out_norm=norm(f"{at}.attention.output"),
            up=up,
            up_bias=arrays[f"{at}.intermediate.dense.bias"],
            down=down,
            down_bias=arrays[f"{at}.output.dense.bias"],
            down_norm=norm(f"{at}.output"),
        )

    embeddings = "inner.embeddings"
    return Weights(
        words=arrays[f"{embeddings}.word_embeddings.weight_q"],
        word_scales=arrays[f"{embeddings}.word_embeddings.weight_scale"],
        positions=whole(f"{embeddings}.position_embeddings.weight"),
        first_segment=arrays[f"{embeddings}.token_type_embeddings.weight"][0],
        norm=norm(embeddings),
        layers=tuple(layer(number) for number in range(layers)),
    )


def _arrays(content: bytes) -> dict[str, Any]:
    """Stored arrays by name, in the file's order."""
    found: dict[str, Any] = {}
    for field, graph in _fields(memoryview(content)):
        if field != _MODEL_GRAPH:
            continue
        for inner, tensor in _fields(graph):
            if inner == _GRAPH_INITIALIZER:
                entries = list(_fields(tensor))
                one = dict(entries)
                if one[_TENSOR_TYPE] in _TYPES:
                    shape = [int(value) for number, value in entries if number == _TENSOR_DIMS]
                    flat = np.frombuffer(one[_TENSOR_BYTES], dtype=_TYPES[one[_TENSOR_TYPE]])
                    found[bytes(one[_TENSOR_NAME]).decode()] = flat.reshape(shape)
    return found


def _fields(buffer: memoryview) -> Iterator[tuple[int, Any]]:
    """Number and value of each field of a protocol buffer message: whole numbers, or views of bytes."""
    at = 0
    while at < len(buffer):
        tag, at = _varint(buffer, at)
        wire = tag & 7
        if wire == 0:
            value, at = _varint(buffer, at)
            yield tag >> 3, value
            continue
        if wire == 2:
            length, at = _varint(buffer, at)
        else:
            length = {1: 8, 5: 4}[wire]
        yield tag >> 3, buffer[at : at + length]
        at += length


def _varint(buffer: memoryview, at: int) -> tuple[int, int]:
    value = shift = 0
    while True:
        byte = buffer[at]
        at += 1
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            return value, at
