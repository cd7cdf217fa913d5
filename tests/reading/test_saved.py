import json
from dataclasses import replace
from pathlib import Path

import pytest

from inbox.reading import saved
from inbox.reading.findings import Labelled, Told
from inbox.reading.model import ReadingModel
from inbox.reading.training import seed_messages


@pytest.fixture(scope="module")
def small() -> ReadingModel:
    return ReadingModel.train(seed_messages()[::12])


ORIGIN = {"labelled": "a", "code": "b", "numpy": "1"}


def test_a_saved_model_comes_back(tmp_path: Path, small: ReadingModel) -> None:
    path = tmp_path / "new" / saved.FILE_NAME
    saved.save(path, small, ORIGIN)
    again = saved.load(path, ORIGIN, ReadingModel)
    assert again is not None
    told = [Told("It sank."), Told("Please do a vegan one")]
    assert again.read(told, []) == small.read(told, [])
    assert [one.name for one in path.parent.iterdir()] == [saved.FILE_NAME]


@pytest.mark.parametrize("key", ["labelled", "code", "numpy"])
def test_a_model_of_other_labels_code_or_libraries_is_refused(
    tmp_path: Path, small: ReadingModel, key: str
) -> None:
    path = tmp_path / saved.FILE_NAME
    saved.save(path, small, ORIGIN)
    assert saved.load(path, {**ORIGIN, key: "other"}, ReadingModel) is None


@pytest.mark.parametrize("damage", ["cut", "changed", "no head", "empty"])
def test_a_damaged_file_is_refused(tmp_path: Path, small: ReadingModel, damage: str) -> None:
    path = tmp_path / saved.FILE_NAME
    saved.save(path, small, ORIGIN)
    content = bytearray(path.read_bytes())
    if damage == "changed":
        content[-5] ^= 1
    path.write_bytes({"cut": content[:-9], "no head": b"x" + content, "empty": b""}.get(damage, content))
    assert saved.load(path, ORIGIN, ReadingModel) is None


def test_what_a_model_is_made_from_follows_each_label() -> None:
    message = Labelled("1", Told("It sank."), frozenset({"problem"}), faults=frozenset({"sank"}))
    other = replace(message, faults=frozenset({"dense"}))
    assert saved.origin([message]) != saved.origin([other])
    assert set(saved.LIBRARIES) < set(saved.origin([message]))
    assert json.dumps(saved.origin([message]))


def test_few_hand_labels_leave_the_model_in_use(tmp_path: Path, small: ReadingModel) -> None:
    result = saved.retrain(tmp_path, seed_messages()[:5], in_use=small)
    assert (result.model, result.is_new) == (small, False)
