"""The process that libFuzzer drives; started by `tests.trust.fuzz`."""

import sys

import atheris

with atheris.instrument_imports(include=["inbox", "feedparser"]):
    from tests.trust.doors import DOORS


def main() -> None:
    """Fuzz the door named first; all further words are libFuzzer's own."""
    door = sys.argv.pop(1)
    atheris.Setup(sys.argv, DOORS[door])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
