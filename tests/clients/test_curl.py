"""curl, the plainest client."""

from __future__ import annotations

import subprocess

from tests.clients.serving import Served, needs


def curl(*arguments: str) -> str:
    needs(command="curl")
    done = subprocess.run(["curl", "-sS", *arguments], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout


def test_a_number_and_nothing_else(service: Served) -> None:
    """20 °Bx is SG 1.08287 at 20 °C/20 °C (ICUMSA density of sucrose solutions)."""
    assert curl(f"{service.address}/v1/cell/sg-from-brix?brix=20").startswith("1.08")
