"""A snapshot as metrics, in the text form that Prometheus reads (exposition format 0.0.4).

Counters count since the daemon was started. What `watch` shows in words is left out, as a metric is a number.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, Literal

Snapshot = Mapping[str, Any]
Labels = Mapping[str, str]
Sample = tuple[str, Labels, float]


@dataclass(frozen=True, slots=True)
class _Family:
    """One metric. name: without our prefix. samples: what is added to the name, labels, and the value."""

    name: str
    kind: Literal["counter", "gauge", "histogram"]
    help: str
    samples: Sequence[Sample]


def metrics(status: Snapshot, process: Mapping[str, float]) -> str:
    """The text of all metrics. process: more of the daemon's process, as `name_unit` or `name_unit_total`."""
    families = [*_frames(status["frames"]), *_ways(status), *_night(status), *_process(process)]
    return "".join(f"{line}\n" for family in families for line in _lines(family))


def _frames(frames: Snapshot) -> Iterator[_Family]:
    yield _one("frames_total", "counter", "Frames that were begun.", frames["begun"])
    yield _one("frames_skipped_total", "counter", "Frames that were missed, and not made up for.", frames["skipped"])
    yield _one("frames_early_total", "counter", "Frames begun early for a touch.", frames["early"])
    yield _one("frame_faults_total", "counter", "Faults that a frame was made in spite of.", frames["faults"])
    late = frames["lateness"]
    counted = list(accumulate(late["frames"]))
    buckets: list[Sample] = [
        ("_bucket", {"le": end}, count)
        for end, count in zip([*map(_number, late["to_s"]), "+Inf"], counted, strict=True)
    ]
    yield _Family(
        "frame_lateness_seconds", "histogram", "How long after its time a frame was begun.",
        [*buckets, ("_sum", {}, late["sum_s"]), ("_count", {}, counted[-1])],
    )  # fmt: skip


def _ways(status: Snapshot) -> Iterator[_Family]:
    """What goes out and comes in."""
    for kind, counted in (("output", ("frames", "overwritten")), ("input", ("events", "malformed"))):
        ways = [({kind: one["name"]}, one) for one in status[f"{kind}s"]]
        up: list[Sample] = [("", labels, float(one["state"] == "up")) for labels, one in ways]
        failures: list[Sample] = [("", labels, one["failures"]) for labels, one in ways]
        yield _Family(f"{kind}_up", "gauge", f"Whether the {kind} works.", up)
        yield _Family(f"{kind}_failures_total", "counter", f"How often the {kind} failed.", failures)
        for name in counted:
            samples: list[Sample] = [("", labels, one[name]) for labels, one in ways if name in one]
            yield _Family(f"{kind}_{name}_total", "counter", f"As {kind}s in `watch`: {name}.", samples)


def _night(status: Snapshot) -> Iterator[_Family]:
    beat, events = status["beat"], status["events"]
    yield _one("tempo_bpm", "gauge", "Tempo of the beat clock.", beat["bpm"])
    yield _one("beat_confidence_ratio", "gauge", "How sure the beat clock is.", beat["confidence"])
    yield _one("scenes_active", "gauge", "Scenes and chases that give light.", len(status["scenes"]))
    yield _one("master_ratio", "gauge", "Grand master.", status["master"] / 100)
    yield _one("blackout", "gauge", "Whether a blackout is on.", status["blackout"])
    yield _one("guard_holding", "gauge", "Things that the guard holds back.", len(status["guard"]))
    yield _one(
        "gig_loadings_total", "counter", "How often the gig was loaded anew, or refused.", status["reload"]["times"]
    )
    yield _one("gig_refused", "gauge", "Whether the newest was refused.", status["reload"]["state"] == "refused")
    yield _one("events_refused_total", "counter", "Touches that asked for what is not there.", events["refused"])
    yield _one("events_dropped_total", "counter", "Events that came faster than frames.", events["dropped"])


def _process(process: Mapping[str, float]) -> Iterator[_Family]:
    for name, value in process.items():
        kind: Literal["counter", "gauge"] = "counter" if name.endswith("_total") else "gauge"
        yield _one(f"process_{name}", kind, "Of the daemon's process, as proc(5) has it.", value)


def _one(name: str, kind: Literal["counter", "gauge"], says: str, value: float) -> _Family:
    return _Family(name, kind, says, [("", {}, value)])


def _lines(family: _Family) -> Iterable[str]:
    if not family.samples:
        return
    name = f"lanternist_{family.name}"
    yield f"# HELP {name} {family.help}"
    yield f"# TYPE {name} {family.kind}"
    for suffix, labels, value in family.samples:
        yield f"{name}{suffix}{_labelled(labels)} {_number(value)}"


def _labelled(labels: Labels) -> str:
    pairs = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels.items())
    return f"{{{pairs}}}" if pairs else ""


def _escaped(value: str) -> str:
    return value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _number(value: float) -> str:
    return f"{float(value):.12g}"
