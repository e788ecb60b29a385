"""The log: for the journal and for people, and what happens when nobody reads it."""

import logging
import os
import queue
from pathlib import Path

import pytest

from lanternist.runtime.log import MOST_LINES, Waiting, formatter_for


def record(level: int, text: str) -> logging.LogRecord:
    return logging.LogRecord("lanternist", level, "", 0, text, None, None)


@pytest.mark.parametrize(
    ("level", "priority"),
    # sd-daemon(3) and syslog(3): 3 error, 4 warning, 6 informational.
    [(logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6)],
)
def test_the_journal_is_told_how_bad_each_line_is(level: int, priority: int, tmp_path: Path) -> None:
    with (tmp_path / "stream").open("w") as stream:
        told = os.fstat(stream.fileno())
        journal = formatter_for(stream, {"JOURNAL_STREAM": f"{told.st_dev}:{told.st_ino}"})
    assert (
        journal.format(record(level, "1 artnet: no way\nagain")) == f"<{priority}>1 artnet: no way\n<{priority}>again"
    )


@pytest.mark.parametrize("environment", [{}, {"JOURNAL_STREAM": "8:1"}])
def test_people_are_told_the_time(environment: dict[str, str], tmp_path: Path) -> None:
    with (tmp_path / "stream").open("w") as stream:
        line = formatter_for(stream, environment).format(record(logging.WARNING, "1 artnet: no way"))
    assert line.endswith(" WARNING 1 artnet: no way")
    assert line[2] == line[5] == ":"


def test_lines_that_nobody_takes_are_counted_and_nothing_waits() -> None:
    lines: queue.SimpleQueue[logging.LogRecord] = queue.SimpleQueue()
    log = Waiting(lines)
    for number in range(MOST_LINES + 3):
        log.handle(record(logging.INFO, f"line {number}"))
    assert [lines.get_nowait().getMessage() for _ in range(MOST_LINES)][-1] == f"line {MOST_LINES - 1}"
    log.handle(record(logging.INFO, "new"))
    said = [lines.get_nowait().getMessage() for _ in range(2)]
    assert said == ["log: 3 lines were lost, as nobody took them", "new"]
