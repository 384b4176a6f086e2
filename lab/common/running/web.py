"""Serving pages with waitress, and the worker beside it."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable
from typing import Any, NoReturn

import waitress
from django.conf import settings
from django.core.servers.basehttp import get_internal_wsgi_application

from lab.common.running.supervisor import Supervised
from lab.common.uploads import FORM_ALLOWANCE


class AddressTaken(RuntimeError):
    """The address can't be listened on."""


def serve(
    *, host: str, port: int, threads: int, worker: bool, ready: Callable[[str], None]
) -> None:
    """Serve pages until Ctrl-C or SIGTERM, then stop the worker and return.

    ``ready`` is called with the address once requests are answered; with port 0
    the system chooses a free one.

    Raises
    ------
    AddressTaken
        If somebody else listens there, or the address is not this machine's.
    """
    server = _server(host, port, threads)
    signal.signal(signal.SIGTERM, _leave)
    # A shell starts what runs in its background deaf to Ctrl-C, and Python keeps it so.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    manage = [sys.executable, str(settings.BASE_DIR / "manage.py")]
    child = Supervised([*manage, "worker", "--leave-with-parent"]) if worker else None
    if child is not None:
        child.start()
    try:
        ready(_address(server, host))
        server.run()
    except (KeyboardInterrupt, SystemExit):
        pass  # asked to stop before the server could see to it itself
    finally:
        if child is not None:
            child.stop()


def _leave(_signal: int, _frame: Any) -> NoReturn:
    raise SystemExit(0)


def _server(host: str, port: int, threads: int) -> Any:
    options: dict[str, Any] = {
        "host": host,
        "port": port,
        "threads": threads,
        "ident": "",
        # Larger bodies are refused by their stated length; smaller ones by the view.
        "max_request_body_size": max(settings.UPLOAD_LIMITS.values()) + FORM_ALLOWANCE,
    }
    if settings.SECURE_PROXY_SSL_HEADER:
        options |= {
            "trusted_proxy": "*",
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
            "clear_untrusted_proxy_headers": True,
        }
    try:
        return waitress.create_server(get_internal_wsgi_application(), **options)
    except OSError as error:
        raise AddressTaken(
            f"{host}:{port} can't be listened on ({error.strerror}). "
            "Choose another with --host and --port."
        ) from None


def _address(server: Any, host: str) -> str:
    """Return where a person finds the server that listens on a host or on all."""
    everywhere = {"127.0.0.1", "0.0.0.0", "::1", "::"}  # noqa: S104 - shown, not bound
    shown = "localhost" if host in everywhere else host
    sockets = getattr(server, "effective_listen", None)  # where a name has two
    port = sockets[0][1] if sockets else server.effective_port
    return f"http://{shown}:{port}/"
