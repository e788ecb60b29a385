"""Metrics, as the client library of that format reads them (prometheus-client)."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from prometheus_client.parser import text_string_to_metric_families
from tests.nights import copy_gig, playing

from lanternist.report.metrics import metrics

STATUS: dict[str, Any] = {
    "master": 80.0, "blackout": True, "beat": {"bpm": 124.5, "confidence": 0.9}, "scenes": [{}, {}], "guard": ["one"],
    "frames": {
        "begun": 400, "early": 3, "skipped": 2, "faults": 1,
        "lateness": {"to_s": [0.0001, 0.025], "frames": [390, 8, 2], "sum_s": 0.125},
    },
    "outputs": [
        {"name": "1 artnet", "state": "up", "failures": 0, "frames": 400, "overwritten": 1},
        {"name": "2 artnet", "state": "retrying", "failures": 7, "frames": 0, "overwritten": 0},
    ],
    "inputs": [{"name": "control", "state": "up", "failures": 0}],
    "events": {"refused": 4, "dropped": 5}, "reload": {"times": 6, "state": "refused"},
}  # fmt: skip


def read(text: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_what_is_told_is_read_by_others() -> None:
    found = read(metrics(STATUS, {"cpu_seconds_total": 12.5, "open_fds": 17}))
    assert found["lanternist_frames_total", ()] == 400
    assert found["lanternist_frames_skipped_total", ()] == 2
    assert found["lanternist_output_up", (("output", "1 artnet"),)] == 1
    assert found["lanternist_output_up", (("output", "2 artnet"),)] == 0
    assert found["lanternist_output_failures_total", (("output", "2 artnet"),)] == 7
    assert found["lanternist_blackout", ()] == 1
    assert found["lanternist_master_ratio", ()] == 0.8
    assert (found["lanternist_gig_loadings_total", ()], found["lanternist_gig_refused", ()]) == (6, 1)
    assert found["lanternist_process_cpu_seconds_total", ()] == 12.5
    late = "lanternist_frame_lateness_seconds"
    assert [found[f"{late}_bucket", (("le", end),)] for end in ("0.0001", "0.025", "+Inf")] == [390, 398, 400]
    assert (found[f"{late}_sum", ()], found[f"{late}_count", ()]) == (0.125, 400)


def test_each_metric_has_its_kind_and_a_line_of_help() -> None:
    families = list(text_string_to_metric_families(metrics(STATUS, {"threads": 4})))
    assert all(one.documentation and one.type in ("counter", "gauge", "histogram") for one in families)
    assert len({one.name for one in families}) == len(families) > 15


LINE_ENDS = "\r\x0b\x0c\x1c\x1d\x1e\x85\u2028\u2029"


@given(st.text(st.characters(exclude_categories=["Cs"], exclude_characters=LINE_ENDS), max_size=20))
def test_any_name_comes_through(name: str) -> None:
    status = STATUS | {"inputs": [{"name": name, "state": "up", "failures": 3}]}
    assert read(metrics(status, {}))["lanternist_input_failures_total", (("input", name),)] == 3


def test_of_a_daemon_that_plays(tmp_path: Path) -> None:
    with playing(copy_gig(tmp_path)) as night:
        night.status()
        command = [sys.executable, "-m", "lanternist", "watch", "--metrics"]
        control = os.environ | {"LANTERNIST_SOCKET": str(night.socket)}
        found = read(subprocess.run(command, env=control, capture_output=True, text=True, check=True).stdout)
    assert found["lanternist_frame_lateness_seconds_count", ()] > 0
    assert found["lanternist_process_threads", ()] >= 3
    assert found["lanternist_process_resident_memory_bytes", ()] > 1e7
    assert found["lanternist_process_open_fds", ()] > 3
