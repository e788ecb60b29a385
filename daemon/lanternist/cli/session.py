"""Load-in as a terminal has it: asked for over the control socket, with keys, until it ends."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from lanternist.cli.client import ClientError, Connection
from lanternist.cli.keys import Keys, pressed

LOOKS_EVERY_S = 0.5

Request = dict[str, object]


class RefusedError(Exception):
    """The daemon said no; the text is its reason."""


class Session:
    """What this terminal has asked for: it ends with the connection."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._who: object = None
        self._seen = False

    def ask(self, request: Request) -> None:
        """Ask for something. Raises RefusedError, ClientError."""
        reply = self._connection.ask(request)
        if not reply.get("ok"):
            raise RefusedError(str(reply.get("error", "refused")))
        self._who = reply.get("who", self._who)

    def look(self) -> tuple[dict[str, Any], str]:
        """A snapshot, and why load-in is over for this terminal, if so. Raises ClientError."""
        status = self._connection.ask({"get": "status"}).get("status")
        if not isinstance(status, dict) or not status:
            raise ClientError("lanternist is there, but its loop does not answer")
        state = status["load_in"]
        # What was asked for just now may be seen only in the next snapshot.
        self._seen |= state["who"] == self._who
        if not self._seen:
            return status, ""
        over = str(state["ended"]) if not state["on"] else ""
        return status, over if state["who"] == self._who else "another terminal has it now"


@contextmanager
def opened() -> Iterator[tuple[Session, Keys]]:
    """A session with the daemon, and the keys of this terminal. Raises ClientError."""
    from lanternist.inputs.control import socket_to_ask

    with Connection(socket_to_ask()) as connection, pressed() as keys:
        yield Session(connection), keys


def answered(run: Callable[[], int], *, ended: str) -> int:
    """The exit status of what is done in a session; 1 after a refusal, 3 if nothing runs. ended: said after Ctrl-C."""
    try:
        return run()
    except RefusedError as error:
        print(error, file=sys.stderr)
        return 1
    except ClientError as error:
        print(error, file=sys.stderr)
        return 3
    except (KeyboardInterrupt, EOFError):
        print(f"\nended; {ended}")
        return 0
