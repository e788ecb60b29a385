"""The Art-Net devices that have answered: a bounded table, and how they fit what a rig wants. `now` is handed in."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from lanternist.wire.artnet import CONTROLLER, PollReply

POLL_S = 2.75  # Art-Net 4: a controller polls every 2.5 to 3 s
# Three polls without an answer, and the time that a device may take to answer the last of them.
ABSENT_AFTER_S = 3 * POLL_S + 3.0
# Pages of devices. The largest rig has some dozens; what is beyond is a fault or an attack, and is passed over.
MOST_PAGES = 512


@dataclass(frozen=True, slots=True)
class Node:
    """One device, all its pages together. takes, gives: Port-Addresses that it puts out, and sends, in order."""

    address: str
    name: str
    long_name: str
    is_controller: bool
    takes: tuple[int, ...]
    gives: tuple[int, ...]


@dataclass(slots=True)
class Nodes:
    """Who has answered lately. Each reply is a page of a device, told apart by its address and bind index."""

    _pages: dict[tuple[str, int], tuple[PollReply, float]] = field(default_factory=dict)

    def heard(self, reply: PollReply, sender: str, now: float) -> None:
        """Note a reply that came from the IP address `sender` at `now` (s). One too many is passed over."""
        page = sender, reply.bind_index
        if page not in self._pages and len(self._pages) >= MOST_PAGES:
            self._forget(now)
        if page in self._pages or len(self._pages) < MOST_PAGES:
            self._pages[page] = reply, now

    def present(self, now: float) -> list[Node]:
        """Every device that is there at `now` (s), in order of its address."""
        self._forget(now)
        replies: dict[str, list[PollReply]] = {}
        for (sender, _), (reply, _) in sorted(self._pages.items()):
            replies.setdefault(sender, []).append(reply)
        return merged(_joined(sender, pages) for sender, pages in replies.items())

    def _forget(self, now: float) -> None:
        self._pages = {page: held for page, held in self._pages.items() if now - held[1] < ABSENT_AFTER_S}


def merged(*heard: Iterable[Node]) -> list[Node]:
    """Devices that several have heard of, each once, in order of their addresses; the last to speak of one counts."""
    nodes = {node.address: node for some in heard for node in some}
    return sorted(nodes.values(), key=lambda node: tuple(int(part) for part in node.address.split(".")))


def _joined(sender: str, pages: Sequence[PollReply]) -> Node:
    root = pages[0]
    takes = tuple(sorted({port for page in pages for port in page.takes}))
    gives = tuple(sorted({port for page in pages for port in page.gives}))
    name = root.short_name or root.long_name or "without a name"
    return Node(sender, name, root.long_name, root.style == CONTROLLER, takes, gives)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a rig wants: `universe` of the rig goes to the device at the IP address `to`, as `port_address`."""

    universe: int
    to: str
    port_address: int


@dataclass(frozen=True, slots=True)
class Finding:
    """How one universe fits the network. fits: its device is there and takes it."""

    universe: int
    fits: bool
    text: str


def compare(wanted: Sequence[Wanted], nodes: Sequence[Node]) -> Iterator[Finding]:
    """For each universe of a rig, whether its device is there and takes it; if not, which one does."""
    at = {node.address: node for node in nodes}
    for one in wanted:
        node = at.get(one.to)
        others = [other for other in nodes if one.port_address in other.takes and other is not node]
        if node is not None and one.port_address in node.takes:
            yield Finding(one.universe, fits=True, text=f'"{node.name}" at {one.to} takes it{_also(others)}')
            continue
        lack = f"nothing at {one.to} answers" if node is None else mismatch(node, [one.port_address])
        yield Finding(one.universe, fits=False, text=f"{lack}; {_elsewhere(one, others)}")


def mismatch(node: Node, port_addresses: Sequence[int]) -> str:
    """Which of the Port-Addresses `node` does not take, in words; empty if it takes all of them."""
    missing = [port for port in port_addresses if port not in node.takes]
    if not missing:
        return ""
    takes = f"only {numbered(node.takes)}" if node.takes else "no universe at all"
    return f'"{node.name}" at {node.address} does not take {numbered(missing)}, {takes}'


def numbered(port_addresses: Sequence[int]) -> str:
    """Port-Addresses as people set them on a device: the number, and its Net, Sub-Net and Universe."""
    return ", ".join(f"{port} ({port >> 8}.{port >> 4 & 15}.{port & 15})" for port in port_addresses)


def _also(others: Sequence[Node]) -> str:
    return f"; so does {_listed(others)}" if others else ""


def _elsewhere(one: Wanted, others: Sequence[Node]) -> str:
    if others:
        return f"{_listed(others)} takes it: change `to`, or the address of the device"
    return f"no device takes {numbered([one.port_address])}: change `port_address`, or set the device to it"


def _listed(nodes: Sequence[Node]) -> str:
    return " and ".join(f'"{node.name}" at {node.address}' for node in nodes[:3])
