"""The systemd unit in DEVELOPERS.md is one that systemd takes without a word."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from inbox.settings import setting_fields

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
PROGRAM = "/opt/second-batch/bin/second-batch"


def unit() -> str:
    (text,) = re.findall(r"```ini\n(\[Unit\].*?)```", DEVELOPERS.read_text(encoding="utf-8"), re.DOTALL)
    return str(text)


def complaints(text: str, folder: Path) -> str:
    """What `systemd-analyze verify` says of a unit, whose program here is one that exists."""
    if shutil.which("systemd-analyze") is None:
        if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
            pytest.fail("there is no systemd-analyze; it is in Debian's package systemd")
        pytest.skip("there is no systemd-analyze to ask")
    file = folder / "second-batch.service"
    file.write_text(text.replace(PROGRAM, "/bin/true"), encoding="utf-8")
    asked = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(file)], capture_output=True, text=True, timeout=60
    )
    said = asked.stdout + asked.stderr
    # Other units of the machine are none of ours.
    return "\n".join(line for line in said.splitlines() if file.name in line)


def test_systemd_takes_the_unit(tmp_path: Path) -> None:
    assert PROGRAM in unit()
    assert complaints(unit(), tmp_path) == ""


def test_systemd_would_say_what_is_wrong(tmp_path: Path) -> None:
    assert "ProtectSystm" in complaints(unit().replace("ProtectSystem", "ProtectSystm"), tmp_path)


def test_the_unit_sets_only_settings_that_exist() -> None:
    names = {f"INBOX_{field.name.upper()}" for field in setting_fields()}
    used = set(re.findall(r"^Environment=(\w+)=", unit(), re.MULTILINE))

    assert used
    assert used <= names
