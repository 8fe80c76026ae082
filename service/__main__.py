"""Start the server, or answer one request file without a server.

python -m service serve [--host 127.0.0.1] [--port 8000] [--workers 1]
python -m service ask openapi_examples/solve_blend/01_sour_cherry_and_lemon.json [--json] [--picture curve.png]
"""

from __future__ import annotations

import argparse
import errno
import json
import logging
import os
import socket
import sys
from pathlib import Path

from service.api.command import PICTURES, answer_file, picture_file, table
from service.api.progress_bar import progress_bar


def _why_not_there(host: str, port: int) -> str | None:
    """Why a server cannot answer at an address of this machine; None if it can."""
    try:
        socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET).close()
    except OSError as error:
        if error.errno == errno.EADDRINUSE:
            return f"Port {port} is taken, perhaps by this service already running. Another one: --port {port + 1}"
        return f"Nothing can be served at {host}, port {port}: {error.strerror}."
    except OverflowError:
        return f"A port lies between 0 and 65535, not {port}."
    return None


def _serve(arguments: argparse.Namespace) -> int:
    import uvicorn

    unusable = _why_not_there(arguments.host, arguments.port)
    if unusable is not None:
        print(unusable, file=sys.stderr)
        return 2
    host = f"[{arguments.host}]" if ":" in arguments.host else arguments.host
    address = f"http://{host}:{arguments.port}"
    print(f"In a browser   {address}/")
    print(f"In a cell      {address}/v1/cell has ready formulas, {address}/v1/workbook.xlsx a ready workbook")
    print(f"In a script    {address}/docs has every question with examples")
    print("Ctrl+C stops it.", flush=True)
    logging.basicConfig(level=logging.INFO, format="%(message)s", stream=sys.stdout)
    uvicorn.run(
        "service.api.main:build_app",
        factory=True,
        host=arguments.host,
        port=arguments.port,
        workers=arguments.workers,
        access_log=False,
        server_header=False,
    )
    return 0


def _picture(name: str) -> Path:
    if Path(name).suffix.lower() not in PICTURES:
        raise argparse.ArgumentTypeError(f"the name has to end in {' or '.join(PICTURES)}")
    return Path(name)


def _ask(arguments: argparse.Namespace) -> int:
    with progress_bar(sys.stderr) as progress:
        status, body = answer_file(Path(arguments.file), arguments.operation, progress)
        if arguments.picture is not None and status < 400:
            status, body = picture_file(arguments.picture, body)
    if arguments.json:
        print(json.dumps(body, indent=2, ensure_ascii=False))
    else:
        print(table(body))
    return 0 if status < 400 else 1


def main() -> int:
    """Read the command line and do what it says; 1 for a refused request, 2 for a command that cannot be read."""
    parser = argparse.ArgumentParser(prog="python -m service", description=__doc__.splitlines()[0])
    commands = parser.add_subparsers(dest="command", required=True)
    serve = commands.add_parser("serve", help="start the server")
    serve.add_argument("--host", default="127.0.0.1")
    serve.add_argument("--port", type=int, default=8000)
    serve.add_argument("--workers", type=int, default=1)
    serve.set_defaults(run=_serve)
    ask = commands.add_parser("ask", help="answer a request file without a server")
    ask.add_argument("file", help="a request as JSON")
    ask.add_argument(
        "--operation",
        choices=(
            "solve_blend",
            "solve_blends",
            "forecast_blend",
            "trade_off",
            "plan_must",
            "interpret_readings",
            "plan_stabilising",
            "plan_packaging",
            "plan_fining",
            "judge_tasting",
            "scale_bench_trial",
            "correct_blend",
        ),
        help="which question it is; default: told by what only that question has, such as recipes and no lots for a "
        "forecast, a volume at dosing for a stabilising plan, doses for a tasting, a glass for a bench trial, or "
        "what was added and measured for a correction",
    )
    ask.add_argument("--json", action="store_true", help="the raw answer instead of a table")
    ask.add_argument("--picture", metavar="FILE", type=_picture, help="draw a trade-off besides: a file .svg or .png")
    ask.set_defaults(run=_ask)
    arguments = parser.parse_args()
    try:
        result: int = arguments.run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader, `head` perhaps, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return result


if __name__ == "__main__":
    sys.exit(main())
