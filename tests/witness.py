"""What this machine does to the simplest sender: `python -m tests.witness PORT`, a datagram every 25 ms till killed."""

import socket
import sys
import time

from lanternist.core.pacer import PERIOD_S


def main(port: str) -> None:
    """Send on a grid of absolute times; a place that was missed is left out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        due = time.monotonic()
        while True:
            time.sleep(max(0.0, due - time.monotonic()))
            sock.sendto(b"here", ("127.0.0.1", int(port)))
            due += PERIOD_S * max(1, -(-(time.monotonic() - due) // PERIOD_S))


if __name__ == "__main__":
    main(*sys.argv[1:])
