import json
import random
from dataclasses import replace
from pathlib import Path

import pytest

from inbox.errors import InputError
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


def test_from_few_hand_labels_nothing_is_learned(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there are 5"):
        saved.retrain(tmp_path, seed_messages()[:5])
    assert list(tmp_path.iterdir()) == []


NEW = 60


@pytest.fixture
def few_shipped(monkeypatch: pytest.MonkeyPatch) -> list[Labelled]:
    """Only a part of the shipped messages is shipped; returns some of the others, as labelled by hand."""
    every = seed_messages()
    monkeypatch.setattr(saved, "seed_messages", lambda: every[::30])
    return [replace(one, id=str(at), site="") for at, one in enumerate(every[7::30][:NEW])]


def test_what_helps_is_taken_and_lies_ready(tmp_path: Path, few_shipped: list[Labelled]) -> None:
    """Labels of the kind that only this owner gives: the shipped messages say otherwise."""
    told = [
        Told(f"{words} number {at}") for at in range(20) for words in ("Zucchini please", "Mine sank, loaf")
    ]
    own = [
        Labelled(str(at), one, frozenset({"comment" if "please" in one.text else "problem"}))
        for at, one in enumerate(told)
    ]
    steps: list[tuple[int, int]] = []

    result = saved.retrain(tmp_path, own, tell=lambda done, of: steps.append((done, of)))

    assert result.taken
    assert result.f1_after > result.f1_before
    assert steps == [(done, 6) for done in range(6)]
    ready = saved.load_saved(tmp_path, own)
    assert ready is not None
    assert ready.read([told[0]], [])[0].kinds == ("comment",)


def test_what_harms_is_refused_and_nothing_is_changed(tmp_path: Path, few_shipped: list[Labelled]) -> None:
    """Half of them were muddled since they were learned from: in no way that could be learned."""
    draw, kinds = random.Random(5), ("made_it", "problem", "request", "question")
    muddled = [
        one
        if draw.random() > 0.5
        else replace(one, kinds=frozenset({draw.choice(kinds)}), outcome=None, faults=frozenset())
        for one in few_shipped
    ]

    result = saved.retrain(tmp_path, muddled, learned=few_shipped)

    assert not result.taken
    assert result.f1_after < result.f1_before
    assert list(tmp_path.iterdir()) == []


def test_a_page_never_waits_for_training(tmp_path: Path) -> None:
    assert saved.load_saved(tmp_path) is None
