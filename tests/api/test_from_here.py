"""A fork server that is forked from the process that has loaded everything: what it shares, and what it must not."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from service.api.serving.from_here import can_fork

pytestmark = pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="looks at open files in /proc")


def test_what_is_started_shares_what_was_loaded_and_no_socket() -> None:
    """Where the fork server is lost, another one is started as a new interpreter, which shares nothing."""
    ran = subprocess.run(
        [sys.executable, "-m", "tests.api.forking"],
        cwd=Path(__file__).parents[2],
        env={name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"},
        capture_output=True,
        text=True,
        timeout=120.0,
        check=True,
    )
    assert ran.stderr == ""
    assert ran.stdout.count("written before") == 1
    told = json.loads(ran.stdout.removeprefix("written before "))
    assert told["could"]
    assert (told["first"]["shares"], told["second"]["shares"]) == (True, False)
    assert (told["first"]["ended with"], told["second"]["ended with"]) == (0, 0)
    assert told["listening"].startswith("socket:")
    assert told["listening"] not in told["first"]["files"]
    assert len(told["first"]["files"]) <= len(told["second"]["files"])
    until = time.monotonic() + 30.0
    while Path(f"/proc/{told['second']['forked by']}").exists():
        assert time.monotonic() < until, "a fork server outlives the process that it was started by"
        time.sleep(0.02)


def test_a_process_with_other_threads_is_not_forked() -> None:
    """A copy would have only the thread that made it (fork(2)), and locks that nobody opens."""
    ended = threading.Event()
    other = threading.Thread(target=ended.wait)
    other.start()
    try:
        assert not can_fork()
    finally:
        ended.set()
        other.join()
