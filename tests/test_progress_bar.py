"""The bar that a terminal shows while long work goes on, looked at through a pseudo-terminal."""

from __future__ import annotations

import io
import json
import os
import pty
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

import pytest

from service.__main__ import main
from service.api.progress_bar import progress_bar
from tests.api.real import BASE, changed
from tests.planner.trade_off_cases import ORANGE


class Terminal:
    """A pseudo-terminal: what is written to `stream` is seen at the other end."""

    def __init__(self) -> None:
        self.master, slave = pty.openpty()
        self.stream: TextIO = os.fdopen(slave, "w", encoding="utf-8")

    def seen(self) -> str:
        """What was written until now."""
        os.set_blocking(self.master, False)
        found = b""
        try:
            while piece := os.read(self.master, 65_536):
                found += piece
        except BlockingIOError:
            pass
        return found.decode("utf-8")

    def close(self) -> None:
        self.stream.close()
        os.close(self.master)


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    made = Terminal()
    yield made
    made.close()


class Clock:
    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def line_after(text: str) -> str:
    """What a terminal's line shows after a text: a carriage return goes to its start, and what follows writes over."""
    line: list[str] = []
    at = 0
    for character in text:
        if character == "\r":
            at = 0
        else:
            line[at : at + 1] = [character]
            at += 1
    return "".join(line)


def test_a_bar_comes_after_half_a_second_and_is_gone_at_the_end(terminal: Terminal) -> None:
    clock = Clock()
    with progress_bar(terminal.stream, clock) as tell:
        assert tell is not None
        clock.now_s += 0.49
        tell(1, 8)
        assert terminal.seen() == ""
        clock.now_s += 0.02
        tell(2, 8)
        first = terminal.seen()
        assert line_after(first) == "[" + 10 * "#" + 30 * "." + "] 2 of 8"
        tell(3, 8)
        assert terminal.seen() == ""  # not drawn again within a tenth of a second
        clock.now_s += 0.11
        tell(8, 8)
        first += terminal.seen()
        assert line_after(first) == "[" + 40 * "#" + "] 8 of 8"
    last = terminal.seen()
    assert line_after(first + last).strip() == ""
    assert (first + last).endswith("\r")
    assert "\n" not in first + last


def test_short_work_has_no_bar(terminal: Terminal) -> None:
    with progress_bar(terminal.stream, Clock()) as tell:
        assert tell is not None
        tell(0, 2)
        tell(2, 2)
    assert terminal.seen() == ""


def test_the_line_is_empty_again_whatever_ends_the_work(terminal: Terminal) -> None:
    clock = Clock()

    def interrupted() -> None:
        with progress_bar(terminal.stream, clock) as tell:
            assert tell is not None
            clock.now_s += 1.0
            tell(12, None)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()
    seen = terminal.seen()
    assert line_after(seen[: seen.index("done") + 4]) == "12 done"
    assert line_after(seen).strip() == ""


@pytest.mark.parametrize(("columns", "longest"), [(20, 19), (9, 8), (500, 50)])
def test_a_bar_fits_into_its_terminal(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch, columns: int, longest: int
) -> None:
    monkeypatch.setattr(os, "get_terminal_size", lambda _: os.terminal_size((columns, 24)))
    clock = Clock()
    with progress_bar(terminal.stream, clock) as tell:
        assert tell is not None
        clock.now_s += 1.0
        tell(7, 40)
        line = line_after(terminal.seen())
    assert line.endswith("7 of 40")
    assert len(line) <= longest
    assert len(line) == longest or columns == 9  # no room for a bar there


def test_a_terminal_that_is_gone_costs_no_answer() -> None:
    class Gone(io.StringIO):
        def isatty(self) -> bool:
            return True

        def write(self, text: str) -> int:
            raise OSError(5, text)

    clock = Clock()
    with progress_bar(Gone(), clock) as tell:
        assert tell is not None
        clock.now_s += 1.0
        tell(1, 2)


def ask(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """What the command writes to standard output."""
    monkeypatch.setattr(sys, "argv", ["service", "ask", *arguments])
    assert main() == 0
    return capsys.readouterr().out


def test_the_command_shows_a_bar_in_a_terminal_only_and_writes_the_same(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], terminal: Terminal, tmp_path: Path
) -> None:
    """From the first word on instead of after half a second, so that the work may be short."""
    monkeypatch.setattr("service.api.progress_bar._AFTER_S", 0.0)
    monkeypatch.setattr("service.api.progress_bar._AGAIN_S", 0.0)
    many, curve, single = tmp_path / "many.json", tmp_path / "curve.json", tmp_path / "single.json"
    requests = [changed("targets", "gravity", to=1.002 + 0.001 * k) for k in range(5)]
    many.write_text(json.dumps({"requests": requests}), encoding="utf-8")
    curve.write_text(json.dumps({**ORANGE, "x": "gravity", "y": "citrus_percent", "points": 4}), encoding="utf-8")
    single.write_text(json.dumps(BASE), encoding="utf-8")
    for file, told in ((many, ["0 of 5", "4 of 5", "5 of 5"]), (curve, ["0 of 4", "4 of 4"]), (single, [])):
        capsys.readouterr()
        piped = ask(monkeypatch, capsys, str(file))
        with monkeypatch.context() as patched:
            patched.setattr(sys, "stderr", terminal.stream)
            shown = ask(patched, capsys, str(file))
        assert without_time(shown) == without_time(piped)
        seen = terminal.seen()
        assert [words for words in told if words in seen] == told
        assert bool(seen) is bool(told)
        assert line_after(seen).strip() == ""


def without_time(text: str) -> list[str]:
    """Lines without what differs between two runs."""
    return [line for line in text.splitlines() if not line.startswith("Proof: ")]


def test_the_command_writes_nothing_to_a_pipe(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr("service.api.progress_bar._AFTER_S", 0.0)
    file = tmp_path / "many.json"
    file.write_text(json.dumps({"requests": [BASE, BASE]}), encoding="utf-8")
    monkeypatch.setattr(sys, "argv", ["service", "ask", str(file), "--json"])
    assert main() == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert len(json.loads(out)["results"]) == 2
