"""The OSC reader against the specification's own examples, with python-osc's builders as the sender.

Byte values: Open Sound Control 1.0 (M. Wright, 26 March 2002), in the edition at adrianfreed.com.
"""

import logging
import struct
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_bundle_builder import IMMEDIATELY, OscBundleBuilder
from pythonosc.osc_message_builder import ArgValue, OscMessageBuilder

from lanternist.core.actions import ACTIONS
from lanternist.core.events import Action, Beat, Control, Event, SongPosition, Tempo, Touch, Transport
from lanternist.wire.osc import read

AT = 3.25


def message(address: str, *arguments: ArgValue, tags: Iterable[str | None] | None = None) -> bytes:
    """As python-osc builds it. tags: types it should use rather than guess."""
    builder = OscMessageBuilder(address)
    for argument, tag in zip(arguments, tags or [None] * len(arguments), strict=True):
        builder.add_arg(argument, tag)
    return builder.build().dgram


def bundle(*contents: bytes, timetag: bytes = b"\0\0\0\0\0\0\0\1") -> bytes:
    return b"#bundle\0" + timetag + b"".join(struct.pack(">i", len(content)) + content for content in contents)


def events_of(datagram: bytes) -> list[Event]:
    events, refused = read(datagram, AT)
    assert refused == []
    return events


def reason_of(datagram: bytes) -> str:
    events, refused = read(datagram, AT)
    assert events == []
    (reason,) = refused
    return reason


def touch(path: str, value: float) -> Touch:
    return Touch(Control("osc", path=path), value, AT)


# --- the specification's examples


def test_the_published_messages() -> None:
    # OSC 1.0, examples: /oscillator/4/frequency 440.0 in 32 bytes; /foo 1000 -1 "hello" 1.234 5.678 in 40 bytes.
    frequency = bytes.fromhex("2F6F7363696C6C61746F722F342F6672657175656E6379002C66000043DC0000")
    foo = bytes.fromhex("2F666F6F000000002C69697366660000000003E8FFFFFFFF68656C6C6F0000003F9DF3B640B5B22D")
    assert message("/oscillator/4/frequency", 440.0) == frequency
    assert "from 0 to 1, not 440.0" in reason_of(frequency)
    assert "not 1000, -1, 'hello', 1.2339" in reason_of(foo)


def test_bytes_of_a_level() -> None:
    # Built by hand from the layout of OSC 1.0: strings padded with NUL to 4, ",sf", big-endian float 0.5 = 3F000000.
    datagram = b"/lanternist/level\0\0\0" + b",sf\0" + b"slow ember\0\0" + bytes.fromhex("3F000000")
    assert message("/lanternist/level", "slow ember", 0.5) == datagram
    assert events_of(datagram) == [Action("level", AT, "slow ember", 0.5)]


# --- ours


@pytest.mark.parametrize(
    ("datagram", "event"),
    [
        (message("/lanternist/start", "slow ember"), Action("start", AT, "slow ember")),
        (message("/lanternist/start", "slow ember", 1.0), Action("start", AT, "slow ember")),
        (message("/lanternist/hold", "slow ember", 0), Action("hold", AT, "slow ember", 0.0)),
        (message("/lanternist/level", "glow", 0.25), Action("level", AT, "glow", 0.25)),
        (message("/lanternist/master", 0.5), Action("master", AT, value=0.5)),
        (message("/lanternist/blackout", 1), Action("blackout", AT)),
        (message("/lanternist/blackout"), Action("blackout", AT)),
        (message("/lanternist/blackout", 0), Action("blackout", AT, value=0.0)),
        (message("/lanternist/blackout", False), Action("blackout", AT, value=0.0)),
        (message("/lanternist/tap"), Action("tap", AT)),
        (message("/lanternist/shift", -4), Action("shift", AT, value=-4.0)),
        (message("/lanternist/nudge", 12.5), Action("nudge", AT, value=12.5)),
        (message("/lanternist/tempo", 0), Action("tempo", AT, value=0.0)),
        (message("/lanternist/beat"), Beat(AT)),
        (message("/lanternist/beat", 17), Beat(AT, 17.0)),
        (message("/lanternist/bpm", 128.5), Tempo(AT, 128.5)),
        (message("/lanternist/bpm", 128.5, tags=["d"]), Tempo(AT, 128.5)),
        (message("/lanternist/position", 64.5), SongPosition(AT, 64.5, "osc", running=True)),
        (message("/lanternist/transport", "start"), Transport(AT, "start", "osc")),
        (message("/lanternist/transport", "continue"), Transport(AT, "continue", "osc")),
        (message("/lanternist/transport", "stop"), Transport(AT, "stop", "osc")),
    ],
)
def test_ours(datagram: bytes, event: Event) -> None:
    assert events_of(datagram) == [event]


@given(st.sampled_from(sorted(ACTIONS)), st.floats(width=32, allow_nan=False))
def test_every_action_has_its_address_and_its_range(name: str, value: float) -> None:
    spec = ACTIONS[name]
    datagram = message(f"/lanternist/{name}", *(["glow"] if spec.names else []), value)
    events, refused = read(datagram, AT)
    if not spec.low <= value <= spec.high:
        assert events == []
        assert f"from {spec.low:g} to {spec.high:g}" in refused[0]
    elif value == 0 and not spec.unit:
        assert (events, refused) == ([], [])
    else:
        assert events == [Action(name, AT, "glow" if spec.names else "", value)]


def test_a_button_let_go_does_not_happen_again() -> None:
    assert events_of(message("/lanternist/tap", 1.0)) == [Action("tap", AT)]
    assert events_of(message("/lanternist/tap", 0.0)) == []
    assert events_of(message("/lanternist/toggle", "glow", 0)) == []


@pytest.mark.parametrize(
    ("datagram", "reason"),
    [
        (message("/lanternist/start"), "takes the name of a scene"),
        (message("/lanternist/start", ""), "takes the name of a scene"),
        (message("/lanternist/start", 1.0), "takes the name of a scene"),
        (message("/lanternist/level", "glow", "loud"), "'level' takes a number, not 'loud'"),
        (message("/lanternist/level", "glow", 0.5, 0.5), "'level' takes a number, not 0.5, 0.5"),
        (message("/lanternist/master", "glow"), "'master' takes a number"),
        (message("/lanternist/master", float("nan")), "'master' takes a number, not nan"),
        (message("/lanternist/master", float("inf")), "from 0 to 1 (level), not inf"),
        (message("/lanternist/master", 127), "from 0 to 1 (level), not 127"),
        (message("/lanternist/tempo"), "from 0 to 400 (bpm); none was given"),
        (message("/lanternist/bpm"), "'bpm' takes a number from 20 to 400, not nothing"),
        (message("/lanternist/bpm", 0), "'bpm' takes a number from 20 to 400, not 0"),
        (message("/lanternist/bpm", float("nan")), "not nan"),
        (message("/lanternist/position", -1), "'position' takes a number from 0"),
        (message("/lanternist/position", 1e300, tags=["d"]), "'position' takes a number from 0"),
        (message("/lanternist/beat", -1), "'beat' takes a number from 0"),
        (message("/lanternist/transport", "pause"), "start, continue, stop, not 'pause'"),
        (message("/lanternist/transport"), "start, continue, stop, not nothing"),
        (message("/lanternist/blakout", 1), "'/lanternist/blakout'; did you mean 'blackout'?"),
        (message("/lanternist/reload"), "no address is called '/lanternist/reload'"),
        (message("/lanternist/", 1), "no address is called"),
    ],
)
def test_what_ours_refuse(datagram: bytes, reason: str) -> None:
    assert reason in reason_of(datagram)


# --- touches


@pytest.mark.parametrize(
    ("datagram", "value"),
    [
        (message("/pad/1"), 1.0),
        (message("/pad/1", True), 1.0),
        (message("/pad/1", False), 0.0),
        (message("/pad/1", 0.5), 0.5),
        (message("/pad/1", 1), 1.0),
        (message("/pad/1", 0.25, tags=["d"]), 0.25),
        (message("/pad/1", 1, tags=["h"]), 1.0),
        (message("/pad/1", None), 1.0),
        (message("/pad/1", "left", 0.5, 0.75), 0.5),
        # The impulse of OSC 1.0 carries no bytes, the symbol is a string; python-osc reads neither.
        (b"/pad/1\0\0,I\0\0", 1.0),
        (b"/pad/1\0\0,Si\0left\0\0\0\0\0\0\0\1", 1.0),
        # An older sender leaves the type tags out (OSC 1.0: should be tolerated).
        (b"/pad/1\0\0", 1.0),
        (b"/pad/1\0\0,\0\0\0", 1.0),
        (message("/pad/1", b"blob!", 0.5), 0.5),
    ],
)
def test_touches(datagram: bytes, value: float) -> None:
    assert events_of(datagram) == [touch("/pad/1", value)]


def test_touches_say_who_sent_them() -> None:
    assert read(message("/pad/1"), AT, "10.0.0.7")[0] == [Touch(Control("osc", path="/pad/1"), 1.0, AT, "10.0.0.7")]


@pytest.mark.parametrize("value", [1.01, 2, 127, -0.01, -1, float("nan"), float("inf"), 2**40])
def test_touches_out_of_range_are_refused(value: float) -> None:
    assert "/pad/1 should carry a number from 0 to 1" in reason_of(
        message("/pad/1", value, tags=["d" if isinstance(value, float) else "h"])
    )


def test_a_touch_without_a_number_is_refused() -> None:
    assert "not 'left'" in reason_of(message("/pad/1", "left"))


@pytest.mark.parametrize("address", ["/lanternist/*", "/lanternist/t?p", "/{lanternist,x}/tap", "/lanternist/[t]ap"])
def test_address_patterns_are_not_acted_on(address: str) -> None:
    # OSC 1.0 patterns: ? * [] {}. One stray "/*" would fire everything.
    assert "is a pattern" in reason_of(message(address))


# --- bundles


def test_a_bundle_is_read_in_order_whatever_its_time() -> None:
    inner = OscBundleBuilder(2_000_000_000)
    inner.add_content(OscMessageBuilder("/lanternist/tap").build())
    outer = OscBundleBuilder(IMMEDIATELY)
    outer.add_content(OscMessageBuilder("/pad/1").build())
    outer.add_content(inner.build())
    outer.add_content(OscMessageBuilder("/pad/2").build())
    expected = [touch("/pad/1", 1.0), Action("tap", AT), touch("/pad/2", 1.0)]
    assert events_of(outer.build().dgram) == expected
    assert events_of(bundle()) == []


def test_one_message_of_a_bundle_that_is_none_of_ours_does_not_cost_the_others() -> None:
    title = message("/deck/title", "a song")
    events, refused = read(bundle(title, message("/lanternist/beat"), title), AT)
    assert events == [Beat(AT)]
    assert len(refused) == 2


@pytest.mark.parametrize(
    "datagram",
    [
        b"#bundle\0\0\0\0\0",
        bundle(message("/lanternist/tap")) + b"\0\0",
        bundle(message("/lanternist/tap")) + struct.pack(">i", 8),
        # python-osc runs in circles on this one for ever.
        bundle(message("/lanternist/tap")) + struct.pack(">i", -4),
        bundle(message("/lanternist/tap")) + struct.pack(">i", 3) + b"abc",
    ],
)
def test_a_bundle_that_is_cut_off_is_refused_whole(datagram: bytes) -> None:
    assert "bundle" in reason_of(datagram)


def test_bundles_in_bundles_end_somewhere() -> None:
    datagram = message("/lanternist/tap")
    for _ in range(8):
        datagram = bundle(datagram)
    assert events_of(datagram) == [Action("tap", AT)]
    assert "nested" in reason_of(bundle(datagram))


# --- what python-osc alone would let through


@pytest.mark.parametrize(
    "datagram",
    [
        b"/lanternist/beat\0\0\0\0,f\0\0",
        b"/lanternist/beat\0\0\0\0,f\0\0\x40",
        b"/lanternist/beat\0\0\0\0,i\0\0",
        b"/lanternist/beat\0\0\0\0,d\0\0\0\0\0\0",
        b"/lanternist/beat\0\0\0\0,f\0\0\0\0\0\0\0\0\0\0",
        b"/lanternist/beat\0\0\0\0\0\0\0\0",
        b"/lanternist/beat\0\0\0\0beat",
        b"/lanternist/tap\0\1\2\3\4",
        b"/lanternist/start\0\0\0,s\0\0glow",
        b"/lanternist/start\0\0\0,s\0\0\xff\xfe\0\0",
        b"/\xc3\x28\0",
        b"/pad/1\0\0,b\0\0\xff\xff\xff\xff",
        b"/pad/1\0\0,b\0\0\0\0\0\5abcd",
        b"/pad/1\0\0,q\0\0",
        b"/pad/1\0\0,c\0\0\0\0\0a",
        b"/pad/1\0\0,r\0\0\0\0\0\1",
        b"/pad/1\0\0,m\0\0\0\0\0\1",
        b"/pad/1\0\0,t\0\0\0\0\0\0\0\0\0\1",
        b"/pad/1\0\0,[f]\0\0\0\0\0\0\0\0",
        b"/pad/1\0\0,f",
        b"/pad/1",
        b"/",
        b"pad\0",
        b"",
    ],
)
def test_messages_that_are_not_what_they_say_are_refused(datagram: bytes, caplog: pytest.LogCaptureFixture) -> None:
    reason_of(datagram)
    assert caplog.records == []


class Said(logging.Handler):
    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(record.getMessage())


@contextmanager
def listening_to_the_root_logger() -> Iterator[list[str]]:
    said = Said()
    logging.getLogger().addHandler(said)
    try:
        yield said.lines
    finally:
        logging.getLogger().removeHandler(said)


GOOD = st.sampled_from([
    message("/lanternist/level", "slow ember", 0.5),
    message("/lanternist/beat", 17),
    message("/pad/1", 0.5, True, b"blob", "text"),
    bundle(message("/lanternist/tap"), bundle(message("/pad/2", 0.25))),
])  # fmt: skip


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A packet with some bytes changed, cut, doubled or added: closer to the parser's heart than noise is."""
    data = bytearray(draw(GOOD))
    for _ in range(draw(st.integers(1, 4))):
        place = draw(st.integers(0, len(data)))
        change = draw(st.sampled_from(["set", "insert", "cut", "double"]))
        if change == "set" and place < len(data):
            data[place] = draw(st.integers(0, 255))
        elif change == "insert":
            data[place:place] = draw(st.binary(max_size=4))
        elif change == "cut":
            del data[place : place + draw(st.integers(1, 8))]
        elif change == "double":
            data[place:place] = data[place : place + 8]
    return bytes(data)


@given(st.one_of(st.binary(max_size=120), damaged(), st.binary(max_size=60).map(lambda rest: b"#bundle\0" + rest)))
def test_any_bytes_are_harmless(datagram: bytes) -> None:
    with listening_to_the_root_logger() as said:
        events, refused = read(datagram, AT)
    assert said == []
    assert all(isinstance(reason, str) and reason for reason in refused)
    for event in events:
        if isinstance(event, Touch):
            assert 0 <= event.value <= 1
        elif isinstance(event, Action):
            assert ACTIONS[event.do].low <= event.value <= ACTIONS[event.do].high
        elif isinstance(event, Tempo):
            assert 20 <= event.bpm <= 400


# OSC 1.0: a string is a sequence of characters other than null; python-osc builds no message of any other.
TEXT = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8)
ARGUMENTS: st.SearchStrategy[list[ArgValue]] = st.lists(TEXT | st.booleans() | st.integers(-9, 999))
FORBIDDEN = ("reload", "load-in", "light", "only", "slot", "service", "lamp", "reset", "quit", "shutdown", "state")


@pytest.mark.parametrize("name", FORBIDDEN)
@pytest.mark.parametrize("arguments", [[], [1.0], ["par 1"], ["1.37", 255]])
def test_what_could_hurt_cannot_be_asked_for_over_a_network(name: str, arguments: list[ArgValue]) -> None:
    assert "no address is called" in reason_of(message(f"/lanternist/{name}", *arguments))


@given(st.sampled_from([*ACTIONS, *FORBIDDEN, "beat", "bpm", "position", "transport"]), ARGUMENTS)
def test_only_actions_touches_and_beats_come_out(name: str, arguments: list[ArgValue]) -> None:
    """Never a request of load-in, which writes slots, resets heads and lights lamps, nor a loss, which lets go."""
    for event in read(message(f"/lanternist/{name}", *arguments), AT)[0]:
        assert isinstance(event, Action | Touch | Beat | Tempo | SongPosition | Transport)
        assert not isinstance(event, Action) or event.do in ACTIONS


@given(GOOD, st.data())
def test_a_packet_cut_short_does_less_and_nothing_else(datagram: bytes, data: st.DataObject) -> None:
    # But for one cut right behind the address: that is how a sender without type tags sends no argument.
    end = data.draw(st.integers(0, len(datagram) - 1).filter(lambda end: datagram[end] != ord(",")))
    events, _ = read(datagram[:end], AT)
    whole = events_of(datagram)
    assert events == whole[: len(events)]
    assert len(events) < len(whole)
