"""The bill of materials names what is installed and needed."""

import re
from importlib import metadata

import pytest

from inbox.cli.ingredients import as_bill, find_ingredients
from inbox.cli.main import run


def test_what_is_needed_is_found_with_what_that_needs() -> None:
    found = {one.name.lower(): one.version for one in find_ingredients("flask")}

    assert found["werkzeug"] == metadata.version("werkzeug")
    assert found["markupsafe"] == metadata.version("markupsafe"), "needed by what it needs"
    assert "pytest" not in found


def test_the_bill_has_what_cyclonedx_asks_for() -> None:
    """CycloneDX 1.6 (ECMA-424), from memory: bomFormat, specVersion; type and name of each component."""
    bill = as_bill(find_ingredients("flask"), "flask")

    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert len({one["bom-ref"] for one in bill["components"]}) == len(bill["components"]) >= 5
    for one in bill["components"]:
        assert re.fullmatch(r"pkg:pypi/[a-z0-9-]+@[\w.+-]+", one["purl"])
        assert one["type"] == "library"


def test_the_command_ends_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    code = run(["ingredients"])
    said = capsys.readouterr()

    if code:
        assert "not installed as a package" in said.err
    else:
        assert "Flask" in said.out
