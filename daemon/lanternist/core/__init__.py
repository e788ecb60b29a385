"""The pure core: no clock, no socket, no thread, no random source. `now` and events are handed in."""
