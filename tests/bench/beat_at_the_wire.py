"""Ten minutes of beats, MIDI clock to packets: `python -m tests.bench.beat_at_the_wire`. Says pass or FAIL.

A frame is seen for 25 ms, so half a frame either way is what any sender of 40 a second can promise. "pass": every beat
landed, the median and the 99th percentile within half a frame; to the latter the sender's 99th percentile is allowed.
"""

import argparse
import statistics
import tempfile
from pathlib import Path

from tests.beats import HALF_FRAME_S, SKIPPED, Landing, land, quantile, within_half_a_frame

BPM = 127.3  # in no simple ratio to 40 frames a second, so that beats fall everywhere between two frames
SHARES = (0.5, 0.9, 0.95, 0.99, 1.0)


def row(name: str, values: list[float]) -> str:
    return f"{name:<44}" + "".join(f"{quantile(values, share) * 1000:9.2f}" for share in SHARES)


def centred(landing: Landing) -> list[float]:
    """How far from the mean of all."""
    mean = statistics.mean(landing.off)
    return [abs(one - mean) for one in landing.off]


def tell(landing: Landing) -> None:
    print(f"{'milliseconds':<44}" + "".join(f"{f'p{share * 100:g}':>9}" for share in SHARES))
    print(row("packet from its beat, early or late", landing.missed))
    print(row("the same from the mean of all", centred(landing)))
    print(row("the sender's own ticks, late", landing.witness))
    earliest, latest = min(landing.off) * 1000, max(landing.off) * 1000
    within = sum(one <= HALF_FRAME_S for one in landing.missed) / len(landing.missed)
    print(f"{within:.1%} within half a frame, from {-earliest:.2f} ms early to {latest:.2f} late, ", end="")
    print(f"mean {statistics.mean(landing.off) * 1000:+.2f}")
    frames = landing.frames
    print(f"{len(landing.off)} beats, {landing.wrong} to the wrong side; {frames['begun']} frames, ", end="")
    print(f"{frames['skipped']} skipped, begun {frames['late_p50_ms']} / {frames['late_p99_ms']} ms late (p50 / p99)")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--bpm", type=float, default=BPM)
    args = parser.parse_args()
    beats = round(args.minutes * args.bpm) - SKIPPED
    with tempfile.TemporaryDirectory() as folder:
        landing = land(Path(folder), args.bpm, beats)
    tell(landing)
    passed = within_half_a_frame(landing, beats, 0.99)
    print(f"{'pass' if passed else 'FAIL'}: half a frame is {HALF_FRAME_S * 1000:g} ms")
    return 0 if passed else 1


if __name__ == "__main__":
    raise SystemExit(main())
