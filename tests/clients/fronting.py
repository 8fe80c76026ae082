"""HAProxy set up as the README tells, with ports of this machine put in, and what its tests send and wait for."""

from __future__ import annotations

import re
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2

from tests.clients.serving import needs
from tests.clients.test_recipes import recipes

WAITS_S = 60.0
LARGEST_BODY = 262_144
"""SERVICE_MAX_BODY_BYTES as it is by default."""
LOT = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
HONEY = [{"ingredient": "honey", "max": "2 kg"}]


def blends(many: int) -> dict[str, Any]:
    """A batch of requests that all differ."""
    wanted = [{"targets": {"gravity": round(1.003 + 0.0001 * n, 4)}} for n in range(many)]
    return {"requests": [{"lots": [LOT], "additions": HONEY, **targets} for targets in wanted]}


def wait_for(what: Callable[[], object], told: str) -> None:
    """Wait until something holds."""
    until = time.monotonic() + WAITS_S
    while not what():
        assert time.monotonic() < until, told
        time.sleep(0.02)


def free_ports(many: int) -> list[int]:
    """Ports of this machine at which nobody listens."""
    with ExitStack() as held:
        probes = [held.enter_context(socket.create_server(("127.0.0.1", 0))) for _ in range(many)]
        return [int(probe.getsockname()[1]) for probe in probes]


def answers(address: str, status: int = 200) -> bool:
    """Whether something is ready at an address."""
    with suppress(httpx2.HTTPError):
        return httpx2.get(f"{address}/readyz", timeout=5.0).status_code == status
    return False


@dataclass
class Front:
    """HAProxy with the README's configuration."""

    port: int
    log: Path
    """What it told: servers that go and come, requests that failed or were sent again."""

    @property
    def address(self) -> str:
        """Where callers ask."""
        return f"http://127.0.0.1:{self.port}"

    def sent_again(self) -> list[float]:
        """Seconds of every request that another replica was asked for too; its log counts those as +1."""
        return [int(found) / 1000.0 for found in re.findall(r"/(\d+) \d{3} .*/\+1 \d", self.log.read_text())]


@contextmanager
def fronted(place: Path, ports: tuple[int, ...], **instead: str) -> Iterator[Front]:
    """HAProxy before two ports, running.

    Parameters: place, an empty folder; ports of the replicas; instead, other values of directives, `_` for spaces and
    hyphens.
    """
    needs(command="haproxy", get="apt-get install haproxy")
    (block,) = recipes("haproxy", "backend replicas")
    (port,) = free_ports(1)
    for written, put in zip(("8000", "8001", "8002"), (port, *ports), strict=True):
        assert block.count(f"127.0.0.1:{written}") == 1
        block = block.replace(f"127.0.0.1:{written}", f"127.0.0.1:{put}")
    for name, value in instead.items():
        block, found = re.subn(rf"^(    {name.replace('_', '.')}) \S+", rf"\1 {value}", block, flags=re.MULTILINE)
        assert found == 1, name
    written_to = place / "front.cfg"
    written_to.write_text(block, encoding="utf-8")
    command = ["haproxy", "-dW", "-f", str(written_to)]  # -dW: a warning is an error
    checked = subprocess.run([*command, "-c"], capture_output=True, text=True, timeout=WAITS_S, check=False)
    assert checked.returncode == 0, checked.stderr
    assert "warning" not in (checked.stdout + checked.stderr).lower()
    front = Front(port, place / "front.log")
    with front.log.open("wb") as log:
        running = subprocess.Popen([*command, "-db"], stdout=log, stderr=log, start_new_session=True)
    try:
        wait_for(lambda: socket_opens(port), "HAProxy does not listen")
        yield front
    finally:
        running.kill()
        running.wait(WAITS_S)


def socket_opens(port: int) -> bool:
    """Whether somebody listens at a port."""
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
        return True
    return False
