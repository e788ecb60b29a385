"""The doors of a daemon that plays: whoever floods one crowds nobody out at another, and no bytes do any harm."""

import json
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.bench.flood import INPUTS, NULL, floods
from tests.nights import Night, connected, copy_gig, playing
from tests.running import until

from lanternist.core.actions import ACTIONS

KINDS = ("osc, 50,000/s that toggle", "midi-tcp", "control")
PATHS = ["../../etc/passwd", "/etc/passwd", "songs/../rig", "opener\0", "~root", "$(reboot)", "%s%n", "a" * 5000]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Night]:
    gig = copy_gig(tmp_path_factory.mktemp("doors"), outputs=NULL, inputs=INPUTS)
    with playing(gig) as made:
        yield made
        status = made.status()
        assert status["frames"]["faults"] == 0, made.said()
        assert [(way["state"], way["failures"]) for way in status["inputs"]] == [("up", 0)] * 3


def test_floods_at_every_door_at_once_lose_nothing_that_was_acknowledged(night: Night) -> None:
    flooding = [words for name, words in floods(night).items() if name.startswith(KINDS)]
    with ExitStack() as ending:
        for words in flooding:
            flood = ending.enter_context(subprocess.Popen([sys.executable, "-c", *words]))
            ending.callback(flood.kill)
        until(lambda: all(way["events"] > 1000 for way in night.status()["inputs"]))
        for percent in range(3):
            assert night.send("master", value=percent / 100) == {"ok": True}
            until(lambda percent=percent: night.status()["master"] == percent)  # type: ignore[misc]
        assert night.status()["events"]["dropped"] == 0
    osc = next(way for way in night.status()["inputs"] if way["name"].endswith("osc"))
    assert osc["malformed"] > 0  # counted, as the kernel threw them away


WORDS = st.sampled_from([*ACTIONS, "beat", "position", "service", "reload", "slow tide", *PATHS])
OSC = st.builds(
    lambda address, tags, rest: f"/lanternist/{address}".encode() + b"\0\0\0\0,"[:5] + tags + b"\0\0" + rest,
    WORDS,
    st.text("sifdTFNI[b", max_size=4).map(str.encode),
    st.binary(max_size=40),
)
LINES = st.dictionaries(
    st.sampled_from(["do", "get", "load-in", "what", "value", "values"]),
    WORDS | st.floats() | st.lists(WORDS | st.integers(), max_size=3),
    max_size=4,
).filter(lambda line: line.get("do") != "reload")


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(OSC | st.binary(max_size=60), max_size=8), st.lists(LINES, max_size=8), st.binary(max_size=60))
def test_whatever_comes_it_plays_on_and_answers(
    night: Night, datagrams: list[bytes], lines: list[dict[str, object]], midi: bytes
) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as osc, socket.socket(socket.AF_UNIX) as control:
        for datagram in datagrams:
            osc.sendto(datagram, night.door("osc"))
        with connected(night.door("midi-tcp")) as pads:
            pads.sendall(midi)
        control.settimeout(20)
        control.connect(str(night.socket))
        control.sendall(b"".join(json.dumps(line).encode() + b"\n" for line in lines))
        with control.makefile("rb") as replies:
            for line in lines:
                reply = json.loads(replies.readline())
                assert reply["ok"] or reply["error"], line
    assert night.send("tap") == {"ok": True}
    assert night.status()["frames"]["faults"] == 0


def test_a_name_is_never_a_path_nor_a_command(night: Night) -> None:
    for do, kind in (("start", "scene"), ("song", "song")):
        for path in PATHS:
            assert f"no {kind} is called" in str(night.send(do, path)["error"])
