"""Synchronization and universe discovery against the published layouts; any bytes are harmless."""

import dataclasses
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sacn.messages.sync_packet import SyncPacket
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from lanternist.wire import sacn

CID = bytes(range(16))
ROOT = "00 10 00 00 41 53 43 2D 45 31 2E 31 37 00 00 00"
SYNC = sacn.Sync(CID, 7, 0x1234)
LIST = sacn.Discovery(CID, "booth", (1, 2, 300))
universes = st.lists(st.integers(1, 63_999), max_size=520).map(lambda some: tuple(sorted(set(some))))


def test_sync_is_byte_exact() -> None:
    """ANSI E1.31-2018 cl. 4.2 and 6.3: 49 bytes; the reserved field at 47 is 0."""
    tail = "70 21 00 00 00 08" + CID.hex() + "70 0B 00 00 00 01 07 12 34 00 00"
    assert sacn.pack_sync(SYNC) == bytes.fromhex(ROOT + tail)
    assert sacn.parse(sacn.pack_sync(SYNC)) == SYNC


def test_discovery_is_byte_exact() -> None:
    """ANSI E1.31-2018 cl. 4.3, 6.4 and 8: 120 bytes and two a universe, in order."""
    packet = sacn.pack_discovery(LIST)
    assert packet[:44] == bytes.fromhex(ROOT + "70 6E 00 00 00 08" + CID.hex() + "70 58 00 00 00 02")
    assert packet[44:112] == b"booth".ljust(64, b"\0") + bytes(4)
    assert packet[112:] == bytes.fromhex("70 0E 00 00 00 01 00 00 00 01 00 02 01 2C")
    assert sacn.parse(packet) == LIST


def test_discovery_goes_to_its_own_group() -> None:
    """ANSI E1.31-2018 App. A: universe 64214."""
    assert sacn.multicast_group(sacn.DISCOVERY_UNIVERSE) == "239.255.250.214"


@pytest.mark.parametrize(("count", "pages"), [(0, 1), (512, 1), (513, 2)])
def test_a_page_has_512_universes(count: int, pages: int) -> None:
    """ANSI E1.31-2018 cl. 8: 120 to 1144 bytes a page."""
    found = list(sacn.discovery_pages(CID, "booth", [*range(count, 0, -1), *range(1, count + 1)]))
    assert [(one.page, one.last_page) for one in found] == [(n, pages - 1) for n in range(pages)]
    assert [universe for one in found for universe in one.universes] == list(range(1, count + 1))
    assert all(len(sacn.pack_discovery(one)) <= 1144 for one in found)


@given(universes)
def test_independent_library_reads_and_writes_the_list(some: tuple[int, ...]) -> None:
    """The PyPI library sacn, both ways."""
    for page in sacn.discovery_pages(CID, "booth", some):
        packet = sacn.pack_discovery(page)
        theirs = UniverseDiscoveryPacket.make_universe_discovery_packet(tuple(packet))
        assert (tuple(theirs.universes), theirs.page, theirs.lastPage) == (page.universes, page.page, page.last_page)
        assert bytes(theirs.getBytes()) == packet


@given(st.integers(0, 255), st.integers(1, 63_999))
def test_independent_library_writes_the_same_sync(sequence: int, address: int) -> None:
    """The PyPI library sacn."""
    theirs = SyncPacket(tuple(CID), address, sequence)
    ours = sacn.Sync(CID, sequence, address)
    assert bytes(theirs.getBytes()) == sacn.pack_sync(ours)
    assert sacn.parse(bytes(theirs.getBytes())) == ours


@pytest.mark.parametrize(
    "wrong",
    [{"address": 0}, {"address": 64_000}, {"sequence": 256}, {"cid": b""}],
)
def test_sync_out_of_range_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        dataclasses.replace(SYNC, **wrong)


@pytest.mark.parametrize(
    "wrong",
    [
        {"universes": (2, 1)},
        {"universes": (1, 1)},
        {"universes": (0,)},
        {"page": 1},
        {"source": "x" * 64},
        {"cid": b""},
    ],
)
def test_a_list_that_is_none_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValueError):
        dataclasses.replace(LIST, **wrong)


@pytest.mark.parametrize("packet", [sacn.pack_sync(SYNC), sacn.pack_discovery(LIST)], ids=["sync", "discovery"])
def test_damage_is_harmless(packet: bytes) -> None:
    for end in range(len(packet)):
        assert sacn.parse(packet[:end]) is None
    for place in range(len(packet)):
        for bit in range(8):
            damaged = bytearray(packet)
            damaged[place] ^= 1 << bit
            found = sacn.parse(bytes(damaged))
            assert found is None or isinstance(found, sacn.Sync | sacn.Discovery)
            if place < 22 or place in (38, 39, 40, 41, 42):
                assert found is None


@given(st.binary(max_size=1200), st.integers(0, 3))
def test_any_bytes_are_harmless(noise: bytes, vector: int) -> None:
    packet = bytes.fromhex(ROOT) + noise[:2] + b"\0\0\0\x08" + noise[2:20] + b"\0\0\0" + bytes([vector]) + noise[20:]
    assert sacn.parse(packet) is None or len(packet) >= 49
