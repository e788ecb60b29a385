"""Where a song is, told over a MIDI cable: time code and Song Select into the daemon, the light of a cue out of it."""

import socket
import threading
import time
from pathlib import Path

import mido
from tests.decoded import artnet_slots
from tests.nights import Night, connected, copy_gig, playing
from tests.nodes import node
from tests.running import until

INPUT = '[[inputs]]\nby = "midi-tcp"\nport = 0\n'
OUTPUT = '[[outputs]]\nuniverse = 1\nby = "artnet"\nto = "127.0.0.1"\nport = {port}\n'
SONG = """\
title = "Opener"
file = "opener.wav"
duration = 60.0
timecode = "01:00:00:00"
select = 5
[grid]
one = 0.5
tempo = [{ at = 0.5, bpm = 120.0 }]
[[sections]]
at = "1.1"
kind = "drop"
[[cues]]
at = "2.1"
do = "start"
what = "full"
"""
BEGINS, RATE = 3600.0, 25
CUE_AT = 2.5  # seconds into the file
LATE_S = 0.1  # of a frame time of 25 ms, on a machine that has other things to do


def send_time_code(connection: socket.socket, start: float, seconds: float, lasting: float) -> None:
    """Quarter frames: the song is `seconds` into its file at `start` (monotonic)."""
    first = round(seconds * RATE)
    for quarter in range(round(lasting * RATE * 4)):
        # Eight pieces, one every quarter of a frame, tell the time at which the first of them is sent.
        frame = first + quarter // 8 * 2
        piece, rate_25 = quarter % 8, 1
        time_of = [frame % RATE, frame // RATE % 60, frame // RATE // 60 % 60, int(BEGINS) // 3600]
        value = time_of[piece // 2] >> 4 if piece % 2 else time_of[piece // 2] & 15
        value |= rate_25 << 1 if piece == 7 else 0
        if (left := start + quarter / RATE / 4 - time.monotonic()) > 0:
            time.sleep(left)
        connection.sendall(mido.Message("quarter_frame", frame_type=piece, frame_value=value).bin())


def song_of(night: Night) -> dict[str, object]:
    song = night.status()["song"]
    assert isinstance(song, dict)
    return song


def test_a_cue_comes_where_time_code_says_and_start_begins_what_song_select_named(tmp_path: Path) -> None:
    with node() as lamp:
        gig = copy_gig(tmp_path, outputs=OUTPUT.format(port=lamp.port), inputs=INPUT)
        (gig / "songs").mkdir()
        (gig / "songs" / "opener.toml").write_text(SONG)
        with playing(gig) as night, connected(night.door("midi-tcp")) as cable:
            start = time.monotonic() + 0.05
            lamp.stamp()
            sender = threading.Thread(target=send_time_code, args=(cable, start, 1.4, 1.6), daemon=True)
            sender.start()
            lit = 0.0
            while not lit:
                packet, at = lamp.stamped()
                lit = at if artnet_slots(packet)[1][0] == 255 else 0.0
                assert at < start + 10, song_of(night)
            sender.join()
            assert abs(lit - (start + CUE_AT - 1.4)) < LATE_S
            assert song_of(night)["title"] == "Opener"
            night.send("song-over")
            assert not song_of(night)
            cable.sendall(mido.Message("song_select", song=5).bin() + mido.Message("start").bin())
            until(lambda: song_of(night).get("title") == "Opener")
            assert night.stop() == 0
