"""What is kept of the encoder's work is what it would give, and covers what the first start needs."""

import numpy as np

from inbox.reading.encoder import DIMENSIONS, encode, encode_anew, kept_vectors, vector_key
from inbox.themes.kept_vectors import fitting_texts


def test_kept_vectors_cover_nearly_all_that_fitting_needs() -> None:
    texts = fitting_texts()

    covered = sum(vector_key(text) in kept_vectors() for text in texts)

    assert covered >= 0.9 * len(texts), "run python -m inbox.themes.kept_vectors"


def test_kept_vectors_are_those_of_the_encoder() -> None:
    texts = [text for text in fitting_texts() if vector_key(text) in kept_vectors()][::400]

    cosines = (encode(texts) * encode_anew(texts)).sum(axis=1)

    assert len(texts) > 5
    assert cosines.min() > 0.999


def test_known_and_unknown_texts_keep_their_order() -> None:
    known = next(text for text in fitting_texts() if vector_key(text) in kept_vectors())
    texts = ["a text that is kept nowhere", known, "another such text"]

    rows = encode(texts)

    assert rows.shape == (3, DIMENSIONS)
    np.testing.assert_allclose(rows[1], kept_vectors()[vector_key(known)])
    np.testing.assert_allclose(rows[0], encode_anew(texts[:1])[0], atol=1e-6)
    assert encode([]).shape == (0, DIMENSIONS)
