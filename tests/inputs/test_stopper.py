"""Stopping an input: before, during, after and twice."""

import select
import socket

from lanternist.inputs.stopper import Stopper


def readable(wake: socket.socket) -> bool:
    return bool(select.select([wake], [], [], 0)[0])


def test_stop_ends_the_wait_for_good() -> None:
    stopper = Stopper()
    with stopper.waiting() as wake:
        assert not readable(wake)
        assert not stopper.stopped
        stopper.stop()
        assert readable(wake)
        stopper.stop()
        wake.recv(1)
        assert readable(wake)
    stopper.stop()


def test_a_stop_before_the_wait_is_not_lost() -> None:
    stopper = Stopper()
    stopper.stop()
    with stopper.waiting() as wake:
        assert readable(wake)
    with stopper.waiting() as wake:
        assert readable(wake)
