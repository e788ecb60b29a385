"""The log: to standard error, from a thread of its own, so that a full pipe or a slow disk never holds up a frame."""

import logging
import logging.handlers
import queue
import sys


def start_log() -> logging.handlers.QueueListener:
    """Send everything from INFO up to standard error. Call `stop()` on what is returned at the end."""
    lines: queue.SimpleQueue[logging.LogRecord] = queue.SimpleQueue()
    writer = logging.StreamHandler(sys.stderr)
    writer.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%H:%M:%S"))
    listener = logging.handlers.QueueListener(lines, writer)
    root = logging.getLogger()
    root.handlers = [logging.handlers.QueueHandler(lines)]
    root.setLevel(logging.INFO)
    listener.start()
    return listener
