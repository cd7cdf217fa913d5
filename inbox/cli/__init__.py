"""The command `second-batch`.

Each command is a thin shell: it reads its options, makes one call below, and
prints. `site` opens the ledger, `output` prints; `intake`, `findings`, `running`
and `upkeep` hold the commands.
"""

from inbox.cli.main import main

__all__ = ["main"]
