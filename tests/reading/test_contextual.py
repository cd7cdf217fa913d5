from pathlib import Path

import numpy as np
import pytest

from inbox.reading import contextual
from inbox.reading.contextual import encode_sentences
from inbox.reading.word_pieces import WordPieces, words_of


def test_a_message_does_not_depend_on_the_messages_beside_it() -> None:
    alone, parts = encode_sentences([["The loaf sank.", "It was lovely though."]])
    among, more = encode_sentences([["Hi"], ["The loaf sank.", "It was lovely though."], ["x " * 400]])
    assert among.shape == (3, contextual.ROW)
    assert more.shape == (4, contextual.ROW)
    assert np.allclose(alone[0], among[1], atol=1e-4)
    assert np.allclose(parts, more[1:3], atol=1e-4)


def test_a_sentence_past_the_limit_gets_its_messages_row() -> None:
    whole, parts = encode_sentences([["word " * 400, "It sank."]])
    assert np.allclose(parts[1], whole[0])


def test_nothing_and_emptiness_are_read_too() -> None:
    assert encode_sentences([])[0].shape == (0, contextual.ROW)
    assert np.isfinite(encode_sentences([[""], ["\u200b"]])[0]).all()


def test_words_are_cut_by_the_longest_known_piece() -> None:
    pieces = WordPieces(["[UNK]", "un", "##bake", "##d", "##bak", "!"])
    assert pieces.ids_of("Unbaked!") == [1, 2, 3, 5]
    assert pieces.ids_of("zebra") == [0]


def test_accents_go_and_marks_stand_alone() -> None:
    assert list(words_of("Crème-brûlée, 2¾ \u200bCUPS")) == ["creme", "-", "brulee", ",", "2¾", "cups"]


def test_other_weights_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "model.onnx"
    path.write_bytes(b"not these")
    with pytest.raises(contextual.EncoderError, match="Reinstall"):
        contextual._checked(path)
