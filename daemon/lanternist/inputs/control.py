"""The control socket: a Unix domain socket by which the command line, or any other screen, asks and watches.

Whoever may open the socket file may play: it belongs to its user and group (mode 0660). One thread serves all clients
and waits for none of them: one that does not read its replies is dropped.
"""

import fcntl
import logging
import os
import socket
import stat
import tempfile
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from itertools import count
from pathlib import Path
from selectors import EVENT_READ, EVENT_WRITE, DefaultSelector
from time import monotonic

from lanternist.core.events import LoadInRequest
from lanternist.inputs.breath import Breath
from lanternist.inputs.contract import Emit, InputError
from lanternist.inputs.stopper import Stopper
from lanternist.inputs.tally import Tally
from lanternist.wire.control import LONGEST_LINE, RequestError, encode, read_request

_LOGGER = logging.getLogger(__name__)
_NAME = "lanternist.sock"
SERVICE_SOCKET = Path("/run/lanternist") / _NAME
MOST_CLIENTS = 16
# Who has said nothing for so long makes way for somebody new when all places are taken.
MAKES_WAY_AFTER_S = 10.0
# More unread replies than this and the client is dropped.
MOST_UNREAD = 1 << 20
# Little, so that nobody waits long for those who ask much.
_CHUNK = 4096
_USUAL = 32  # bytes of a request
_PROBE_S = 1.0


def default_socket() -> Path:
    """Where the daemon puts the socket.

    $LANTERNIST_SOCKET; else in $RUNTIME_DIRECTORY, as systemd sets it; else in the user's runtime folder; else in a
    folder of the user's in the temporary folder.
    """
    named = os.environ.get("LANTERNIST_SOCKET")
    if named:
        return Path(named)
    by_systemd = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    folder = by_systemd or os.environ.get("XDG_RUNTIME_DIR") or f"/run/user/{os.getuid()}"
    if Path(folder).is_dir():
        return Path(folder) / _NAME
    return _own_folder() / _NAME


def socket_to_ask() -> Path:
    """Where the command line asks: at $LANTERNIST_SOCKET; else at the user's own daemon if one plays; else the service.

    Where there is none of them, it is where the user's own would be.
    """
    own = default_socket()
    if "LANTERNIST_SOCKET" in os.environ or is_served(own) or not os.path.lexists(SERVICE_SOCKET):
        return own
    return SERVICE_SOCKET


def _own_folder() -> Path:
    return Path(tempfile.gettempdir()) / f"lanternist-{os.getuid()}"


class _Client:
    """One connection: what it has sent of its next line, and what it has not read yet.

    loads_in: whether it has asked for load-in, which ends with the connection. heard_at: when it has said something.
    """

    def __init__(self, connection: socket.socket, number: int) -> None:
        self.connection = connection
        self.number = number
        self.loads_in = False
        self.heard_at = monotonic()
        self.received = bytearray()
        self.unread = bytearray()
        self.leaving = False

    def lines(self) -> Iterator[bytes]:
        """The whole lines received; the rest of the next one stays."""
        *lines, rest = bytes(self.received).split(b"\n")
        self.received[:] = rest
        yield from lines


class ControlInput:
    """Serves the control socket at `path`.

    status: gives the newest snapshot, as JSON can carry it. names: gives the scenes and chases of the running show.
    load_in_wrong: why a request of load-in cannot be met, or "". reload: has the gig loaded anew, and gives the number
    of that. They are called on the input's thread, so they should
    only hand over what is already there.
    """

    def __init__(
        self,
        path: Path,
        status: Callable[[], Mapping[str, object]],
        names: Callable[[], Collection[str]],
        load_in_wrong: Callable[[LoadInRequest], str] = lambda _: "",
        reload: Callable[[], int] = lambda: 0,
    ) -> None:
        self._path = path
        self._status = status
        self._names = names
        self._load_in_wrong = load_in_wrong
        self._reload = reload
        self._numbers = count(1)
        self._emit: Emit = lambda _: None
        self._stopper = Stopper()
        self._tally = Tally(_LOGGER, "control")
        self._where = "nothing yet"
        self._clients: set[_Client] = set()
        self._told = b""

    def run(self, emit: Emit) -> None:
        """Serve until `stop`. Raises InputError when the socket cannot be had, or another daemon has it."""
        self._emit = emit
        with (
            self._stopper.waiting() as wake,
            _listening(self._path) as listening,
            DefaultSelector() as selector,
            ExitStack() as on_leaving,
        ):
            on_leaving.callback(self._drop_all)
            selector.register(wake, EVENT_READ)
            selector.register(listening, EVENT_READ)
            self._where = str(self._path)
            breath = Breath(_USUAL)
            while not self._stopper.stopped:
                for key, _ in breath.wait(selector):
                    if key.fileobj is listening:
                        self._accept(listening, selector)
                    elif key.data in self._clients:
                        breath.took(self._serve(key.data, selector))

    def stop(self) -> None:
        """Make `run` return."""
        self._stopper.stop()

    def describe(self) -> dict[str, str | int | float]:
        """Where it listens, how many are connected, how many actions came, how many requests were refused."""
        return self._tally.describe(self._where) | {"clients": len(self._clients)}

    def _accept(self, listening: socket.socket, selector: DefaultSelector) -> None:
        try:
            connection = listening.accept()[0]
        except (BlockingIOError, ConnectionError):
            return
        except OSError as error:
            raise InputError(f"lost {self._path}: {error}; it is opened again") from error
        connection.settimeout(0)
        client = _Client(connection, next(self._numbers))
        self._clients.add(client)
        selector.register(connection, EVENT_READ, client)
        if len(self._clients) > MOST_CLIENTS and not self._make_way(selector):
            self._refuse(client, f"{MOST_CLIENTS} clients are connected already; end one of them")
            client.leaving = True
            self._send(client, selector)

    def _make_way(self, selector: DefaultSelector) -> bool:
        """Drop the client that has been silent for longest, if that is long, and it does not stand on a ladder."""
        silent = min((one for one in self._clients if not one.loads_in), key=lambda one: one.heard_at)
        if monotonic() - silent.heard_at < MAKES_WAY_AFTER_S:
            return False
        self._tally.refuse("a client that has been silent for long, as another one came", monotonic())
        selector.unregister(silent.connection)
        self._drop(silent)
        return True

    def _serve(self, client: _Client, selector: DefaultSelector) -> int:
        """Read, answer and send what can be; how many bytes were read."""
        size = 0 if client.leaving else self._receive(client)
        self._send(client, selector)
        return size

    def _receive(self, client: _Client) -> int:
        try:
            data = client.connection.recv(_CHUNK)
        except BlockingIOError:
            return 0
        except OSError:
            data = b""
        client.leaving = not data
        client.heard_at = monotonic()
        client.received += data
        self._told = b""
        now = monotonic()
        for line in client.lines():
            self._answer(client, line, now)
        if len(client.received) > LONGEST_LINE:
            self._refuse(client, f"a line of more than {LONGEST_LINE} bytes")
            client.leaving = True
        return len(data)

    def _answer(self, client: _Client, line: bytes, now: float) -> None:
        try:
            asked = read_request(line, self._names(), now)
            if isinstance(asked, LoadInRequest):
                asked = self._load_in(client, asked)
        except RequestError as error:
            self._refuse(client, str(error))
            return
        if asked == "status":
            client.unread += self._snapshot()
        elif asked == "reload":
            client.unread += encode({"ok": True, "reload": self._reload()})
        else:
            self._told = b""
            self._tally.emit(self._emit, [asked])
            client.unread += encode({"ok": True} | ({"who": client.number} if client.loads_in else {}))

    def _load_in(self, client: _Client, asked: LoadInRequest) -> LoadInRequest:
        problem = self._load_in_wrong(asked)
        if problem:
            raise RequestError(problem)
        client.loads_in = asked.do != "end"
        return replace(asked, who=client.number)

    def _snapshot(self) -> bytes:
        """The status; one for all who ask in one go, as each takes a frame, and others wait meanwhile."""
        self._told = self._told or self._status_line()
        return self._told

    def _status_line(self) -> bytes:
        try:
            return encode({"ok": True, "status": self._status()})
        except (TypeError, ValueError) as error:
            _LOGGER.exception("control: the status is not one that JSON can carry")
            return encode({"ok": False, "error": f"the status cannot be told: {error}"})

    def _refuse(self, client: _Client, reason: str) -> None:
        self._tally.refuse(reason, monotonic())
        client.unread += encode({"ok": False, "error": reason})

    def _send(self, client: _Client, selector: DefaultSelector) -> None:
        """As much as the client takes now; drop it when it is done, gone, or has left too much unread."""
        try:
            del client.unread[: client.connection.send(client.unread) if client.unread else 0]
        except BlockingIOError:
            pass
        except OSError:
            client.unread.clear()
            client.leaving = True
        if len(client.unread) > MOST_UNREAD:
            self._tally.refuse("a client that does not read its replies", monotonic())
        elif client.unread or not client.leaving:
            wanted = (0 if client.leaving else EVENT_READ) | (EVENT_WRITE if client.unread else 0)
            selector.modify(client.connection, wanted, client)
            return
        selector.unregister(client.connection)
        self._drop(client)

    def _drop(self, client: _Client) -> None:
        self._clients.discard(client)
        client.connection.close()
        if client.loads_in:
            self._emit(LoadInRequest("end", monotonic(), who=client.number))

    def _drop_all(self) -> None:
        for client in list(self._clients):
            self._drop(client)


@contextmanager
def _listening(path: Path) -> Iterator[socket.socket]:
    """A listening socket at `path`, removed afterwards. One that a killed daemon left behind is replaced."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listening:
        try:
            _bind(listening, path)
        except BlockingIOError as error:
            raise InputError(f"another lanternist is starting at {path}") from error
        except OSError as error:
            raise InputError(f"cannot make the control socket {path}: {error.strerror or error}") from error
        made = path.stat()
        try:
            yield listening
        finally:
            if path.exists() and os.path.samestat(made, path.stat()):
                path.unlink()


def _bind(listening: socket.socket, path: Path) -> None:
    listening.settimeout(0)
    _prepare_folder(path.parent)
    folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
    try:
        # Two daemons that start at once must not both find the socket dead and replace each other's.
        fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        _clear(path)
        listening.bind(str(path))
        path.chmod(0o660)
        listening.listen()
    finally:
        os.close(folder)


def _prepare_folder(folder: Path) -> None:
    folder.mkdir(mode=0o700, exist_ok=True)
    if folder == _own_folder() and folder.lstat().st_uid != os.getuid():
        raise InputError(f"{folder} belongs to another user; set LANTERNIST_SOCKET to a path in a folder of yours")


def _clear(path: Path) -> None:
    """Remove a dead socket. Raises InputError when it lives, or is something else."""
    try:
        is_socket = stat.S_ISSOCK(path.lstat().st_mode)
    except FileNotFoundError:
        return
    if not is_socket:
        raise InputError(f"{path} is there and is not a socket; remove it, or set LANTERNIST_SOCKET to another path")
    if is_served(path):
        raise InputError(f"lanternist is already running (it answers at {path}); end it first")
    path.unlink()


def is_served(path: Path) -> bool:
    """Whether a daemon answers at the socket `path`, or is at least there and too busy to."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(_PROBE_S)
        try:
            probe.connect(str(path))
        except (TimeoutError, BlockingIOError, PermissionError):
            return True
        except OSError:
            return False
    return True
