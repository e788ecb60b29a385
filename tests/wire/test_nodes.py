"""The table of devices: who is there, however many and whatever they say; and how they fit a rig."""

from hypothesis import given
from hypothesis import strategies as st

from lanternist.wire.artnet import CONTROLLER, PollReply
from lanternist.wire.nodes import MOST_PAGES, POLL_S, Node, Nodes, Wanted, compare, merged

BOOTH = "10.0.0.20"


def reply(*takes: int, index: int = 1, name: str = "Booth", style: int = 0) -> PollReply:
    return PollReply(bytes(4), name, takes=takes, bind_index=index, style=style)


def device(address: str, *takes: int, name: str = "Booth") -> Node:
    return Node(address, name, "", False, takes, ())


def test_pages_of_a_device_are_one_node() -> None:
    """Art-Net 4, ArtPollReply: BindIndex tells the pages of one device apart."""
    nodes = Nodes()
    nodes.heard(reply(17, index=2, name="page"), BOOTH, 0.0)
    nodes.heard(reply(1, 2, 3, 4), BOOTH, 0.1)
    nodes.heard(reply(name="House desk", style=CONTROLLER), "9.0.0.1", 0.2)
    desk, booth = nodes.present(0.5)
    assert (desk.name, desk.is_controller, desk.takes) == ("House desk", True, ())
    assert booth == device(BOOTH, 1, 2, 3, 4, 17)


def test_what_a_device_says_last_counts() -> None:
    nodes = Nodes()
    nodes.heard(reply(1), BOOTH, 0.0)
    nodes.heard(reply(5), BOOTH, 1.0)
    assert [node.takes for node in nodes.present(1.0)] == [(5,)]


def test_who_answers_no_more_is_gone() -> None:
    """Art-Net 4: an answer comes within 3 s of the poll. Three polls in a row may be lost."""
    nodes = Nodes()
    nodes.heard(reply(1), BOOTH, 0.0)
    assert nodes.present(3 * POLL_S + 2.9)
    assert not nodes.present(3 * POLL_S + 3.1)


def test_a_flood_neither_grows_the_table_nor_drives_a_device_out() -> None:
    nodes = Nodes()
    nodes.heard(reply(1), BOOTH, 0.0)
    for number in range(5 * MOST_PAGES):
        nodes.heard(reply(2), f"10.{number >> 8}.{number & 255}.1", 0.1)
    nodes.heard(reply(7), BOOTH, 0.2)
    present = nodes.present(1.0)
    assert len(present) == MOST_PAGES
    assert device(BOOTH, 7) in present
    nodes.heard(reply(3), "10.99.0.1", 60.0)
    assert [node.takes for node in nodes.present(60.0)] == [(3,)]


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 255), st.floats(0, 5))))
def test_each_page_is_there_once(heard: list[tuple[int, int, float]]) -> None:
    nodes = Nodes()
    for host, index, now in heard:
        nodes.heard(reply(index & 15, index=index), f"10.0.0.{host}", now)
    addresses = [node.address for node in nodes.present(5.0)]
    assert addresses == sorted({f"10.0.0.{host}" for host, _, _ in heard})


def test_merged_is_in_order_of_addresses() -> None:
    some = [device("10.0.0.9", 1), device("10.0.0.10", 2)]
    assert merged([some[1]], some, [device("9.9.9.9")]) == [device("9.9.9.9"), *some]


def findings(*wanted: Wanted, nodes: list[Node]) -> list[tuple[int, bool, str]]:
    return [(one.universe, one.fits, one.text) for one in compare(wanted, nodes)]


def test_a_universe_fits_where_its_device_takes_it() -> None:
    nodes = [device(BOOTH, 1), device("10.0.0.21", 1, name="Spare")]
    assert findings(Wanted(1, BOOTH, 1), nodes=nodes[:1]) == [(1, True, '"Booth" at 10.0.0.20 takes it')]
    [(_, fits, text)] = findings(Wanted(1, BOOTH, 1), nodes=nodes)
    assert fits
    assert text.endswith('; so does "Spare" at 10.0.0.21')


def test_a_universe_that_no_device_takes() -> None:
    [(_, fits, text)] = findings(Wanted(2, BOOTH, 0x123), nodes=[device(BOOTH, 0, 1)])
    assert not fits
    assert '"Booth" at 10.0.0.20 does not take 291 (1.2.3), only 0 (0.0.0), 1 (0.0.1)' in text
    assert "no device takes 291 (1.2.3): change `port_address`" in text


def test_a_device_that_takes_it_at_another_address() -> None:
    [(_, fits, text)] = findings(Wanted(1, "10.0.0.99", 1), nodes=[device(BOOTH, 1)])
    assert not fits
    assert text == (
        'nothing at 10.0.0.99 answers; "Booth" at 10.0.0.20 takes it: change `to`, or the address of the device'
    )


def test_a_device_without_outputs() -> None:
    [(_, _, text)] = findings(Wanted(1, BOOTH, 1), nodes=[device(BOOTH)])
    assert "does not take 1 (0.0.1), no universe at all" in text
