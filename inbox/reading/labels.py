"""Which label stands in which column of the first stage's scores."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from inbox.reading.findings import Labelled
from inbox.words import FAULTS, HAZARDS, KINDS, OUTCOMES

UNSAID: Final = "unsaid"
ANY_HAZARD: Final = "any_hazard"
COLUMNS: Final = (*KINDS, *OUTCOMES, *FAULTS, *HAZARDS, ANY_HAZARD)
COLUMN_OF: Final = {name: at for at, name in enumerate(COLUMNS)}
KIND_COLUMNS: Final = slice(0, len(KINDS))
SENSE_COLUMNS: Final = slice(0, len(KINDS) + len(OUTCOMES))
"""Kinds and outcomes."""

FAULT_COLUMNS: Final = slice(COLUMN_OF[FAULTS[0]], COLUMN_OF[FAULTS[-1]] + 1)
HAZARD_COLUMNS: Final = slice(COLUMN_OF[HAZARDS[0]], COLUMN_OF[HAZARDS[-1]] + 1)


def truth_of(labelled: Sequence[Labelled]) -> NDArray[np.float64]:
    """What people said, as 0 and 1, of shape (n_messages, n_columns)."""
    table = np.zeros((len(labelled), len(COLUMNS)))
    for row, message in enumerate(labelled):
        said = [*message.kinds, *message.faults]
        said += [message.outcome] if message.outcome else []
        said += [message.hazard, ANY_HAZARD] if message.hazard else []
        table[row, [COLUMN_OF[name] for name in said]] = 1
    return table
