"""`lanternist nodes`: which Art-Net devices answer, and which universes they take."""

import argparse
import json
import math
import sys
from contextlib import suppress
from dataclasses import asdict
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lanternist.files.gig import Gig
    from lanternist.wire.nodes import Finding, Node

# Art-Net 4: a device answers within 3 s; the rest is for the network.
WAIT_S = 3.2
LONGEST_WAIT_S = 60.0


def add_parser(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the command."""
    parser = commands.add_parser(
        "nodes",
        help="list the Art-Net devices that answer",
        description="List the Art-Net devices of the lighting network with the universes (Port-Addresses) that they "
        "take. A lanternist that is running is asked, if it has heard of any; else they are looked for.",
        epilog="exit status: 0 some answered, 1 none did, 2 cannot look",
    )
    parser.add_argument("--on", metavar="INTERFACE", help="look on one network interface only, for example eth0")
    parser.add_argument("--wait", type=_seconds, default=WAIT_S, metavar="S", help="how long to wait for answers")
    parser.add_argument("--json", action="store_true", help="print a JSON list instead of text")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """List the devices, and give the exit status."""
    from lanternist.outputs.contract import OutputError

    try:
        nodes = find(args.on, args.wait)
    except OutputError as error:
        print(error, file=sys.stderr)
        return 2
    if args.json:
        print(json.dumps([asdict(node) for node in nodes], indent=2, ensure_ascii=False))
    else:
        _tell(nodes)
    return 0 if nodes else 1


def find(on: str | None, seconds: float, beyond: "Sequence[str]" = ()) -> "list[Node]":
    """Those that the running lanternist has heard of; if there are none, those that answer within `seconds`.

    on: one interface, which is always looked at anew. beyond: addresses outside our own networks. Raises OutputError.
    """
    from lanternist.cli.client import ClientError
    from lanternist.cli.watch import snapshot
    from lanternist.outputs.artnet_station import look_around
    from lanternist.wire.nodes import Node, merged

    heard: list[Node] = []
    if on is None:
        with suppress(ClientError, TypeError):
            heard = [Node(**node) for node in snapshot().get("nodes", [])]
        if heard and {node.address for node in heard} >= set(beyond):
            return heard
    # What answers a running lanternist's own socket does not come here, so both are wanted.
    return merged(heard, look_around(on, seconds, beyond))


def compared(gig: "Gig") -> "list[Finding]":
    """How each universe that goes out by Art-Net fits the devices that answer. Raises OutputError."""
    from lanternist.outputs import artnet
    from lanternist.wire.nodes import compare

    entries = [one for one in gig.rig.outputs if one.by == "artnet"]
    wanted = [want for one in entries for want in artnet.wanted(one.model_extra or {}, one.universe)]
    return list(compare(wanted, find(None, WAIT_S, [want.to for want in wanted]))) if wanted else []


def _tell(nodes: "Sequence[Node]") -> None:
    from lanternist.wire.nodes import numbered

    if not nodes:
        print("No Art-Net device answers. Is it on, is the cable in, is this machine in its network?")
        return
    width = max(len(node.name) for node in nodes)
    for node in nodes:
        what = [f"takes {numbered(node.takes)}"] if node.takes else []
        what += [f"sends {numbered(node.gives)}"] if node.gives else []
        what += ["a controller"] if node.is_controller else []
        print(f"{node.address:<15}  {node.name:<{width}}  {'; '.join(what) or 'has no universe'}")
    print("\nUniverses are Port-Addresses, in brackets as Net.Sub-Net.Universe.")


def _seconds(word: str) -> float:
    seconds = float(word)
    if not (math.isfinite(seconds) and 0 < seconds <= LONGEST_WAIT_S):
        raise ValueError(word)
    return seconds
