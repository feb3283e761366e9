"""The page on the laptop's network: address, code to scan, and a server that one Ctrl-C ends."""

from __future__ import annotations

import os
import socket
import webbrowser
from collections.abc import Callable
from dataclasses import dataclass
from io import StringIO
from ipaddress import IPv4Address, ip_address, ip_network
from pathlib import Path

import segno
import uvicorn

from pennyfall.cli.files.folder_lock import folder_lock
from pennyfall.cli.lesson.clips import annotate_clip, lesson_measuring
from pennyfall.cli.lesson.run import Measuring
from pennyfall.cli.lesson.side_by_side import FinishClip
from pennyfall.cli.serve.guard import DOOR, kept_tokens
from pennyfall.cli.serve.page import page_app
from pennyfall.kinematics.errors import CannotMeasure

HOME_NETWORKS = tuple(map(ip_network, ("192.168.0.0/16", "10.0.0.0/8", "172.16.0.0/12")))
"""What a router at home or in a studio gives out, the usual first (RFC 1918); containers use the last."""
ELSEWHERE = "192.0.2.1"
"""An address that nobody has (RFC 5737): asking which way leads there sends nothing."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Opened:
    """Where the page is open."""

    coach: str
    """Address for the laptop itself; it holds the coach's token."""
    phones: tuple[str, ...]
    """Addresses for phones, the likeliest first."""


def serve(
    folder: Path,
    *,
    address: str | None = None,
    port: int,
    database: Path | None = None,
    processes: int | None = None,
    measuring: Measuring = lesson_measuring,
    finish: FinishClip = annotate_clip,
    browse: bool = True,
    opened: Callable[[Opened], None] = lambda _: None,
) -> None:
    """Show a lesson's page until Ctrl-C, or until the coach ends it.

    Parameters
    ----------
    folder : Path
        The lesson's folder; made where it is not there.
    address : str, optional
        The laptop's address on the phones' network; default: all it has, the likeliest in the code.
    port : int
        Where; 0 takes any that is free.
    database : Path or None
        The history; None keeps none.
    processes : int, optional
        Clips measured at once; default: one a core.
    measuring, finish : callables
        How clips are measured, and what else is made of each.
    browse : bool
        Open the coach's page in the browser.
    opened : callable
        Told where the page is open.

    Raises
    ------
    CannotMeasure
        When the folder is in use or cannot be written, or the address or port cannot be had.

    """
    folder.mkdir(parents=True, exist_ok=True)
    with folder_lock(folder), _listening(address, port) as listening:
        port = listening.getsockname()[1]
        tokens = kept_tokens(folder)
        hosts = (address,) if address else own_addresses()
        phones = tuple(f"http://{host}:{port}{DOOR}{tokens.phone}" for host in hosts)
        coach = f"http://{address or 'localhost'}:{port}{DOOR}{tokens.coach}"

        def end() -> None:
            server.should_exit = True

        app = page_app(
            folder,
            measuring,
            tokens,
            finish=finish,
            processes=processes,
            database=database,
            codes=tuple((host, code_svg(phone)) for host, phone in zip(hosts, phones, strict=True)),
            end=end,
        )
        server = uvicorn.Server(
            uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, ws="none")
        )
        opened(Opened(coach=coach, phones=phones))
        if browse:
            webbrowser.open(coach)
        server.run(sockets=[listening])


def own_addresses() -> tuple[str, ...]:
    """Return the laptop's addresses as phones may reach it, the likeliest first; itself where it has none."""
    found = {str(each[4][0]) for each in _names() if each[0] == socket.AF_INET}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect((ELSEWHERE, 9))
            found.add(asking.getsockname()[0])
        except OSError:
            pass
    addresses = sorted(map(IPv4Address, found), key=_rank)
    usual = [str(each) for each in addresses if not each.is_loopback and not each.is_link_local]
    return tuple(usual or ["127.0.0.1"])


def _names() -> list[tuple[int, int, int, str, tuple[str | int, ...]]]:
    try:
        return list(socket.getaddrinfo(socket.gethostname(), None))  # type: ignore[arg-type]
    except OSError:
        return []


def _rank(address: IPv4Address) -> tuple[int, IPv4Address]:
    """Order networks of homes and studios before those of tunnels and containers."""
    of = (number for number, network in enumerate(HOME_NETWORKS) if address in network)
    return next(of, len(HOME_NETWORKS)), address


def code_svg(text: str) -> str:
    """Return the code of a text as an SVG, dark on light whatever the page's colours."""
    return str(
        segno.make(text, error="m").svg_inline(
            scale=6, border=2, dark="#1d2a33", light="#ffffff", omitsize=True
        )
    )


def code_lines(text: str) -> str:
    """Return the code of a text for the terminal."""
    lines = StringIO()
    segno.make(text, error="l").terminal(out=lines, compact=True, border=1)
    return lines.getvalue()


def _listening(address: str | None, port: int) -> socket.socket:
    try:
        if address is not None:
            ip_address(address)
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":  # elsewhere it would let two pages share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((address or "0.0.0.0", port))  # all: phones have to reach it
        listening.listen(100)  # who comes before the page is up waits for it
    except ValueError:
        raise CannotMeasure(
            f"{address} is no address.", fix="Give it in numbers, such as 192.168.1.20."
        ) from None
    except OSError as error:
        raise CannotMeasure(
            f"The page cannot be opened at {address or 'this laptop'}, port {port} ({error.strerror}).",
            fix="End what is open there, or name another port.",
        ) from error
    return listening
