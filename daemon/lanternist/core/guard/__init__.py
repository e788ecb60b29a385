"""The guard: the last stage before encoding; no pad, no file and no fault gets a frame past it.

The guard is an aid, not a certificate. Local codes, the licence of the house and licensed practice come first; warn at
the entrance wherever light flashes. It knows what it sends, not what hangs there: a wrong profile, a wrong place, a
fixture that ignores its data or runs a programme of its own are beyond it. Never lasers: they need a trained operator
and their own interlocks, not this.

Theory of operation. Every limit works on the levels that are about to be encoded, one module a limit, in this order:

- `values`: what is not a finite number, or out of range, is replaced before anything looks at it.
- `fog`: longest burst, rest and duty; off in a blackout and when the controlling clock is lost.
- `movement`: heads move no faster than they can, stay within their windows, and are dark until they can have arrived.
- `beams`: a head whose beam would enter a zone is dark, wherever it is on its way.
- `strobes`: rates become flashes on the dimmers, in step; of lamps that can only strobe by themselves, one at a time.
- `reds`: the flashes to and from saturated red, W3C WCAG 2.2.
- `flashing`: the general flashes of the same document.

The last three count on `light`, an estimate of what each cell gives, and on `fields`: what a viewer sees as one. They
only ever take light away, or leave it as it was; less light never makes a rise anywhere. That is why they can be
worked out one after the other, and why a blackout always wins at once: going dark is free, coming back is counted.

All of it runs in every frame, on arrays so short that the calls cost more than what they do: whether any is set is
asked of `count_nonzero`, which takes a third of the time of `any`.
"""

from lanternist.core.guard.guard import Guard
from lanternist.core.guard.holding import Held

__all__ = ["Guard", "Held"]
