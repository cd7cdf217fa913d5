from pathlib import Path
from threading import Thread

import numpy as np
import pytest

from inbox.reading import encoder


def test_rows_are_unit_and_do_not_depend_on_their_neighbours() -> None:
    alone = encoder.encode(["The loaf sank in the middle."])
    among = encoder.encode(["Lovely!", "The loaf sank in the middle.", ""])
    assert among.shape == (3, encoder.DIMENSIONS)
    assert np.allclose(np.linalg.norm(among, axis=1), 1, atol=1e-5)
    assert np.allclose(alone[0], among[1], atol=1e-5)


def test_like_meanings_lie_nearer_than_unlike() -> None:
    asked, alike, other = encoder.encode(
        ["Could you do a dairy-free version?", "Please make one without milk", "The print link is broken"]
    )
    assert asked @ alike > asked @ other


def test_no_texts_give_no_rows() -> None:
    assert encoder.encode([]).shape == (0, encoder.DIMENSIONS)


def test_many_threads_get_the_same_rows() -> None:
    expected = encoder.encode(["salty"])
    rows: list[np.ndarray] = []
    threads = [Thread(target=lambda: rows.append(encoder.encode(["salty"]))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(rows) == 4
    assert all(np.array_equal(row, expected) for row in rows)


def test_other_weights_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "weights.npz"
    path.write_bytes(b"not these")
    with pytest.raises(encoder.EncoderError, match="Reinstall"):
        encoder._check(path, encoder.SHA256["weights.npz"])
