"""`railmodel open`: the live page on this machine, and nowhere else unless asked."""

import gc
import signal
import socket
import webbrowser
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import typer

from railmodel.errors import InputError

if TYPE_CHECKING:
    import uvicorn

    from railmodel.app.page.hub import Hub
    from railmodel.app.page.room import Room

PORTS = range(61000, 65536)
"""Ports that belong to nobody (RFC 6335): each job has one of its own, and one for other machines."""

STOP = 1
"""Seconds that open connections are given when the page is stopped."""


def run_open(job: Path | None, *, port: int, lan: bool, browser: bool) -> int:
    """Serve the page until it is stopped.

    Args:
        job: the job file; None for the start page.
        port: on which port; 0 = the job's own, or any other where that is taken.
        lan: also serve a view to look at, to other machines that know the code.
        browser: open it in the browser.

    Returns:
        Exit status.

    Raises:
        InputError: the job cannot be read, or the port not be had.
    """
    from railmodel.app.page.lock import running_page

    if job is not None and (running := running_page(job)) is not None:
        typer.echo(f"{job.name} is open already at {running}")
        if browser:
            webbrowser.open(running)
        return 0
    from railmodel.app.page.desk import Desk
    from railmodel.app.page.guard import Lan
    from railmodel.app.page.room import Room
    from railmodel.app.page.start import remember

    own_port = port or usual_port(Path.cwd() if job is None else job)
    with _listening("127.0.0.1", own_port, must=port != 0) as local, _far(lan, own_port) as far:
        own = local.getsockname()[1]
        room = Room(folder=Path.cwd(), port=own, lan=None if far is None else Lan(far.getsockname()[1]))
        if job is not None:
            room.desk = Desk(job)
            remember(job)
        address = f"http://127.0.0.1:{own}/"
        typer.echo(f"open at {address} (Ctrl-C stops it)")
        if room.lan is not None:
            typer.echo(f"to look at from other machines: http://{_own_address()}:{room.lan.port}/ code {room.lan.code}")
        if browser:
            webbrowser.open(address)
        _serve(room, [local] if far is None else [local, far])
    return 0


def usual_port(path: Path) -> int:
    """The port of a job or a folder, the same every day: by a page's address a browser keeps how far a tube is bent."""
    return PORTS[zlib.crc32(str(path.resolve()).encode()) % (len(PORTS) - 1)]


@contextmanager
def _listening(host: str, port: int, *, must: bool = True) -> Iterator[socket.socket]:
    # named as TCP, so that the event loop sends small pieces at once: else an answer waits 40 ms for an acknowledgement
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP) as found:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            _bind(found, host, port, must=must)
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise InputError(f"--port: {port} cannot be had ({reason}); choose another, or leave it out") from None
        found.listen(128)
        yield found


def _bind(found: socket.socket, host: str, port: int, *, must: bool) -> None:
    """Take a port, or any other where it need not be this one.

    Raises:
        OSError: it must be, and cannot be had.
    """
    try:
        found.bind((host, port))
    except OSError:
        if must:
            raise
        found.bind((host, 0))


@contextmanager
def _far(wanted: bool, near: int) -> Iterator[socket.socket | None]:
    if not wanted:
        yield None
        return
    with _listening("0.0.0.0", min(near + 1, PORTS[-1]), must=False) as found:
        yield found


def _own_address() -> str:
    """This machine's address in its network, as far as it knows one."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # sends nothing: an address for documentation (RFC 5737)
        return str(probe.getsockname()[0])
    return "127.0.0.1"


def _serve(room: "Room", sockets: list[socket.socket]) -> None:
    """Run the server until Ctrl-C or a signal to end."""
    import uvicorn

    from railmodel.app.page.server import make_app

    config = uvicorn.Config(
        make_app(room), log_level="error", timeout_graceful_shutdown=STOP, server_header=False, workers=1, ws="none",
        h11_max_incomplete_event_size=65536,
    )  # fmt: skip
    gc.collect()
    gc.freeze()  # what is there for good is not gone through again between two edits
    with _ending(), suppress(KeyboardInterrupt):
        _stopping(uvicorn.Server(config), room).run(sockets=sockets)


@contextmanager
def _ending() -> Iterator[None]:
    """A signal to end leaves by way of everything that has to be put away."""

    def leave(sig: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, leave)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def _stopping(server: "uvicorn.Server", room: "Room") -> "uvicorn.Server":
    """A server that ends every stream of news as soon as it is told to stop."""
    handle = server.handle_exit

    def handle_exit(sig: int, frame: FrameType | None) -> None:
        hub: Hub | None = None if room.desk is None else room.desk.hub
        if hub is not None:
            hub.close()
        handle(sig, frame)

    server.handle_exit = handle_exit  # type: ignore[method-assign]
    return server
