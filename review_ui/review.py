"""``trayglow review``: the screens on the person's own records."""

from __future__ import annotations

import argparse
import os
import socket
import tomllib
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from review_ui.errors import UsageError

DEFAULT_PORT = 8765
HERE_ONLY = "127.0.0.1"


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add this command and its options."""
    parser = commands.add_parser(
        "review",
        help="open the screens: add photos, look at the doubtful eggs, make the calls",
        description="Opens the screens in the browser. They are reachable from this computer alone "
        "unless --address says otherwise.",
    )
    add_screen_options(parser)
    parser.set_defaults(run=run)


_OWN_FOLDER = "folder of the records (default: TRAYGLOW_DATA, else your data folder)"


def add_screen_options(parser: argparse.ArgumentParser, *, data_help: str = _OWN_FOLDER) -> None:
    """The options that every command with screens has."""
    parser.add_argument("--data", metavar="DIR", help=data_help)
    parser.add_argument(
        "--port",
        type=_port,
        metavar="N",
        help=f"where to listen (default: {DEFAULT_PORT}, or the next one free)",
    )
    parser.add_argument("--no-browser", action="store_true", help="open no browser window")
    parser.add_argument(
        "--address",
        default=HERE_ONLY,
        metavar="ADDRESS",
        help="0.0.0.0 lets phones of the home network in: anybody in that network can then see and change "
        "the records (default: this computer alone)",
    )


def run(options: argparse.Namespace) -> int:
    """Open the screens and stay until they are stopped with Ctrl+C; the exit status."""
    serve(
        data=None if options.data is None else Path(options.data),
        port=options.port,
        address=options.address,
        browser=not options.no_browser,
    )
    return 0


def serve(*, data: Path | None, port: int | None, address: str = HERE_ONLY, browser: bool = True) -> None:
    """Run the screens in this process until stopped.

    Parameters
    ----------
    data
        Folder of the records; ``None`` for the usual one.
    port
        Where to listen; ``None`` for the first free one from ``DEFAULT_PORT`` on.
    address
        Which network to answer.
    browser
        Whether to open a window.

    Raises
    ------
    UsageError
        If the records cannot be opened, or the port is taken.
    """
    from incubation import records as rec

    if data is not None:
        os.environ["TRAYGLOW_DATA"] = str(data.expanduser().absolute())
    try:
        rec.open_records().close()  # what is wrong with the records is said here, before a window opens
    except rec.RecordsError as error:
        raise UsageError(str(error)) from error
    port = _free_port(address) if port is None else port
    _check_free(address, port)
    print(_how_to_open(address, port), flush=True)

    from streamlit.web import cli

    app = resources.files("review_ui.screens").joinpath("app.py")
    words = ["run", str(app), *option_words(screen_options(address=address, port=port, browser=browser))]
    cli.main(words, standalone_mode=False)


def screen_options(*, address: str, port: int, browser: bool) -> dict[str, Any]:
    """Streamlit's options by their dotted names, the theme included."""
    text = resources.files("review_ui.screens").joinpath("streamlit.toml").read_text(encoding="utf-8")
    return {
        **_flat(tomllib.loads(text)),
        "server.address": address,
        "server.port": port,
        "server.headless": not browser,
    }


def option_words(options: Mapping[str, Any]) -> list[str]:
    """Options as words of a command line."""
    return [
        f"--{name}={str(value).lower() if isinstance(value, bool) else value}"
        for name, value in options.items()
    ]


def _flat(tables: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for name, value in tables.items():
        flat.update(
            _flat(value, f"{before}{name}.") if isinstance(value, Mapping) else {f"{before}{name}": value}
        )
    return flat


def _how_to_open(address: str, port: int) -> str:
    if address == HERE_ONLY:
        return (
            f"The screens are at http://{HERE_ONLY}:{port} (stop them with Ctrl+C).\n"
            "From a phone on the same home network: start again with --address 0.0.0.0 and open the address "
            "that is then named here. Only do that in a network whose people you trust."
        )
    shown = _own_address() if address in ("0.0.0.0", "::") else address
    return (
        f"The screens are at http://{shown}:{port} (stop them with Ctrl+C); "
        "open that in the phone's browser.\n"
        "Anybody in this network can see and change the records while they run."
    )


def _own_address() -> str:
    """Where phones of the network find this computer; nothing is sent to find out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737): asks for the way only
            return str(probe.getsockname()[0])
        except OSError:
            return "THIS-COMPUTER"


def _free_port(address: str) -> int:
    for port in range(DEFAULT_PORT, DEFAULT_PORT + 50):
        if _is_free(address, port):
            return port
    return DEFAULT_PORT


def _check_free(address: str, port: int) -> None:
    if not _is_free(address, port):
        raise UsageError(
            f"--port: nothing can listen at {address}, port {port}; another program may be using it: "
            "name another port, such as --port 8799."
        )


def _is_free(address: str, port: int) -> bool:
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as trial:
        if os.name == "posix":
            trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((address, port))
        except OSError:
            return False
    return True


def _port(text: str) -> int:
    try:
        port = int(text)
    except ValueError:
        port = 0
    if not 1024 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port; give a number from 1024 to 65535")
    return port
