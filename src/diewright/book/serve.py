"""Starting the book: a free port on the loopback address, a fresh token, the browser."""

from __future__ import annotations

import secrets
import socket
import threading
import webbrowser
from collections.abc import Callable
from pathlib import Path

import uvicorn

from diewright.book.server import make_app
from diewright.errors import StoreError


def serve(
    folder: Path, *, port: int = 0, open_browser: bool = True, say: Callable[[str], None] = lambda text: None, begin: tuple[str, ...] = ()
) -> None:
    """Serve the job in ``folder`` until interrupted; ``say`` hears the full address once it can be opened; the stages ``begin`` are worked from then on.

    Raises :class:`StoreError` if the port is taken, and the :class:`DeskError` of a folder that holds no valid job.
    """
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind(("127.0.0.1", port))
    except OSError:
        listener.close()
        raise StoreError(f"Port {port} is taken by another program.", help="Leave the port out and a free one is taken.") from None
    port = listener.getsockname()[1]
    token = secrets.token_urlsafe(24)
    guard = make_app(folder, token, (f"127.0.0.1:{port}", f"localhost:{port}"))
    address = f"http://127.0.0.1:{port}/?token={token}"

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            say(address)
            if begin:
                guard.runs.work(list(begin))  # type: ignore[attr-defined]
            if open_browser:
                threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            guard.bell.close()  # type: ignore[attr-defined]
            await super().shutdown(sockets)

    config = uvicorn.Config(guard, log_level="error", access_log=False, timeout_graceful_shutdown=3, server_header=False)
    Server(config).run(sockets=[listener])
