"""`python -m inbox` is the command `second-batch`."""

from inbox.cli import main

main()
