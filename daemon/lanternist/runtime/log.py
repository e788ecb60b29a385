"""The log: to standard error, from a thread of its own, so that a full pipe or a slow disk never holds up a frame.

Where standard error is the journal, each line carries its priority as sd-daemon(3) has it and the journal gives the
time; `journalctl -u lanternist -p warning` then shows what went wrong. A line begins with the part that it is about.
"""

import logging
import logging.handlers
import os
import queue
import sys
from collections.abc import Mapping
from typing import TextIO

# Lines that wait for a reader that takes none; what is beyond is counted.
MOST_LINES = 1000
# syslog(3).
_PRIORITIES = {logging.CRITICAL: 2, logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6, logging.DEBUG: 7}


def start_log() -> logging.handlers.QueueListener:
    """Send everything from INFO up to standard error. Call `stop()` on what is returned at the end."""
    lines: queue.SimpleQueue[logging.LogRecord] = queue.SimpleQueue()
    writer = logging.StreamHandler(sys.stderr)
    writer.setFormatter(formatter_for(sys.stderr, os.environ))
    listener = logging.handlers.QueueListener(lines, writer)
    root = logging.getLogger()
    root.handlers = [Waiting(lines)]
    root.setLevel(logging.INFO)
    listener.start()
    return listener


class Waiting(logging.handlers.QueueHandler):
    """Lines on their way to the writer. Never waits: what there is no room for is told as a number later."""

    def __init__(self, lines: "queue.SimpleQueue[logging.LogRecord]") -> None:
        super().__init__(lines)
        self.lost = 0
        self._lines = lines

    def enqueue(self, record: logging.LogRecord) -> None:
        """Leave a line."""
        if self._lines.qsize() >= MOST_LINES:
            self.lost += 1
            return
        if self.lost:
            words = f"log: {self.lost} lines were lost, as nobody took them"
            self.queue.put_nowait(logging.LogRecord(__name__, logging.WARNING, "", 0, words, None, None))
            self.lost = 0
        self.queue.put_nowait(record)


def formatter_for(stream: TextIO, environment: Mapping[str, str]) -> logging.Formatter:
    """For the journal, if the stream is connected to it ($JOURNAL_STREAM, systemd.exec(5)), else for people."""
    try:
        told = os.fstat(stream.fileno())
    except OSError:
        told = None
    if told is not None and environment.get("JOURNAL_STREAM") == f"{told.st_dev}:{told.st_ino}":
        return _ForJournal("%(message)s")
    return logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%H:%M:%S")


class _ForJournal(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        """Each line with its priority; the journal reads one entry a line."""
        priority = _PRIORITIES.get(record.levelno, 6)
        return "\n".join(f"<{priority}>{line}" for line in super().format(record).splitlines())
