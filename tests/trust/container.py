"""The steps of the container file in DEVELOPERS.md, one after the other on this machine, without a container.

    python -m tests.trust.container --python /usr/bin/python3

Installs what the file installs into a clean environment, serves as the user 1000 in the folder that the file
names, asks as its health check does before and after the start, and stops by its signal. Not tried: the base
image, `useradd`, the layers and the volume. Needs root, to become user 1000. Exit code 1 at the first step
that fails.
"""

import argparse
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
USER = 1000
START_SECONDS, STOP_SECONDS = 120, 600
"""The first start trains the model, which a stop waits for."""


def main() -> int:
    """Try each step and say how it went."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--python", default=sys.executable, help="must be readable for the user 1000")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        (folder / "data").mkdir()
        os.chown(folder / "data", USER, USER)
        return try_steps(container_file(folder), folder, asked.python)


def container_file(folder: Path) -> dict[str, list[str]]:
    """The file's lines by their first word, with its folders placed below `folder`."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("```dockerfile\n")[1].split("```")[0]
    steps: dict[str, list[str]] = {}
    for line in text.splitlines():
        word, _, rest = line.partition(" ")
        steps.setdefault(word, []).append(re.sub(r"/(data|src)\b", rf"{folder}/\1", rest))
    return steps


def try_steps(steps: dict[str, list[str]], folder: Path, python: str) -> int:
    """Copy, install, serve, ask, stop."""
    (folder / "src").mkdir()
    packed = subprocess.run(["git", "archive", "HEAD"], cwd=ROOT, check=True, capture_output=True)
    subprocess.run(["tar", "-x", "-C", folder / "src"], input=packed.stdout, check=True)
    subprocess.run([python, "-m", "venv", folder / "venv"], check=True)
    install = next(line for line in steps["RUN"] if line.startswith("pip install"))
    path = f"{folder}/venv/bin:{os.environ['PATH']}"
    subprocess.run(
        install, shell=True, check=True, env={**os.environ, "PATH": path}, stdout=subprocess.DEVNULL
    )
    print(f"installed: {install.replace(str(folder), '')}")

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    given = dict(pair.split("=", 1) for line in steps["ENV"] for pair in shlex.split(line))
    env = {**given, "PATH": path, "HOME": str(folder / "data"), "INBOX_PORT": port}
    check = shlex.split(steps["HEALTHCHECK"][0].removeprefix("CMD ").replace(steps["EXPOSE"][0], port))
    if healthy(check, env):
        print("the health check says yes before anything runs")
        return 1
    command = re.findall(r'"([^"]+)"', steps["CMD"][0])
    served = subprocess.Popen(command, env=env, cwd=folder / "data", user=USER, group=USER, extra_groups=[])
    return ask_and_stop(served, check, env, steps["STOPSIGNAL"][0])


def ask_and_stop(served: "subprocess.Popen[bytes]", check: list[str], env: dict[str, str], stop: str) -> int:
    """Wait until the health check is content, then stop the service by the file's signal."""
    start = time.monotonic()
    try:
        while not healthy(check, env):
            if served.poll() is not None or time.monotonic() - start > START_SECONDS:
                print(f"not healthy after {time.monotonic() - start:.0f} s; ended with {served.poll()}")
                return 1
            time.sleep(0.5)
        print(f"healthy after {time.monotonic() - start:.0f} s as user {USER}")
        start = time.monotonic()
        served.send_signal(signal.Signals[stop])
        code = served.wait(STOP_SECONDS)
    finally:
        served.kill()
    print(f"stopped by {stop} after {time.monotonic() - start:.0f} s with exit code {code}")
    return code


def healthy(check: list[str], env: dict[str, str]) -> bool:
    """Whether the health check says so."""
    done = subprocess.run(
        check, env=env, user=USER, group=USER, extra_groups=[], capture_output=True, check=False
    )
    return done.returncode == 0


if __name__ == "__main__":
    sys.exit(main())
