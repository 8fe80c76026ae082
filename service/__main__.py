"""Start the server, or answer one request file without a server.

python -m service serve [--host 127.0.0.1] [--port 8000] [--workers 2]
python -m service ask openapi_examples/solve_blend/01_sour_cherry_and_lemon.json [--json] [--picture curve.png]
"""

from __future__ import annotations

import argparse
import errno
import json
import os
import sys
from contextlib import suppress
from dataclasses import replace
from ipaddress import ip_address
from pathlib import Path

from service.api.settings import Settings
from service.errors import InputError


def _serve(arguments: argparse.Namespace) -> int:
    from service.api.serving.server import listening_socket, serve

    host, port = arguments.host, arguments.port
    if not 0 <= port <= 65535:
        print(f"A port lies between 0 and 65535, not {port}.", file=sys.stderr)
        return 2
    try:
        settings = Settings.from_environment()
        if arguments.workers is not None:
            settings = replace(settings, workers=arguments.workers)
        listening = listening_socket(host, port)
    except InputError as error:
        print(error.detail, file=sys.stderr)
        return 2
    except OSError as error:
        taken = f"Port {port} is taken, perhaps by this service already running. Another one: --port {port % 65535 + 1}"
        other = f"Nothing can be served at {host}, port {port}: {error.strerror}."
        print(taken if error.errno == errno.EADDRINUSE else other, file=sys.stderr)
        return 2
    for told in Settings.unread():
        print(told, file=sys.stderr)
    address = settings.public_url or f"http://{f'[{host}]' if ':' in host else host}:{listening.getsockname()[1]}"
    print(f"In a browser   {address}/")
    print(f"In a cell      {address}/v1/cell has ready formulas, {address}/v1/workbook.xlsx a ready workbook")
    print(f"In a script    {address}/docs has every question with examples")
    if not ip_address(listening.getsockname()[0]).is_loopback:
        who = (
            f"who has one of {len(settings.api_keys)} keys"
            if settings.api_keys
            else "whoever reaches it, without a key"
        )
        print(f"It answers {who}, in plain HTTP: see Running it in the README.")
    print("Starting, a few seconds. Ctrl+C stops it.", flush=True)
    with suppress(KeyboardInterrupt):  # told once more after everything has ended well
        serve(listening, settings, lambda: print("Ready.", flush=True))
    return 0


def _picture(name: str) -> Path:
    from service.api.command import PICTURES

    if Path(name).suffix.lower() not in PICTURES:
        raise argparse.ArgumentTypeError(f"the name has to end in {' or '.join(PICTURES)}")
    return Path(name)


def _ask(arguments: argparse.Namespace) -> int:
    from service.api.command import answer_file, picture_file, table
    from service.api.progress_bar import progress_bar

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
    serve = commands.add_parser(
        "serve", help="start the server; variables of the environment set its limits, see README"
    )
    serve.add_argument(
        "--host", default="127.0.0.1", help="address that it answers at; default: %(default)s, this machine"
    )
    serve.add_argument("--port", type=int, default=8000, help="default: %(default)s; 0: one that is free")
    serve.add_argument("--workers", type=int, help="processes that compute; default: one for each processor")
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
