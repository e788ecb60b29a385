"""Learn the weights of the network that hears beats (lanternist/songs/network.npz). Needs torch and scipy.

    python -m tests.bench.song_training FOLDER OUT.npz [MINUTES]

FOLDER holds recordings and truths made by `tests.bench.song_corpus`. Those whose names begin with a line of
FOLDER/held_out.txt are not learned from. Where OUT.npz is there already, learning goes on from it.
The weights that ship learned twice: from 142 clips of a minute of our own (half of the usual rate) and 65 modules and
MIDI files for 40 minutes, then for 18 minutes (3600 steps on part of a core) from these, 100 bands and clips more, and
the modules, MIDI files and recordings of the other packages that `song_corpus` names. Held out: heroes, tecnoballz,
planetblupi, pingus, simutrans, sectoid, and openttd-openmsx from "t" on.
"""

import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import scipy.signal
import torch
from torch import nn

from lanternist.songs.network import RATE, features
from lanternist.songs.sound import BANDS, FRAMES, listen

CHANNELS, BLOCKS, TAPS = 24, 10, 5
CLIP = 28  # seconds
BATCH = 6
FASTEST = 2e-3  # the rate at which it learns, at its height
Array = np.ndarray[Any, np.dtype[Any]]


class Network(nn.Module):  # type: ignore[misc]  # torch is not installed where types are checked
    """The same as lanternist.songs.network.hear, before its last step."""

    def __init__(self) -> None:
        super().__init__()
        self.front = nn.Conv1d(4 * BANDS, CHANNELS, 3, padding=1)
        self.wide = nn.ModuleList(
            nn.Conv1d(CHANNELS, CHANNELS, TAPS, padding=2 * 2**block, dilation=2**block) for block in range(BLOCKS)
        )
        self.thin = nn.ModuleList(nn.Conv1d(CHANNELS, CHANNELS, 1) for _ in range(BLOCKS))
        self.head = nn.Conv1d(CHANNELS, 2, 1)
        self.drop = nn.Dropout1d(0.1)

    def forward(self, flow: torch.Tensor) -> torch.Tensor:
        flow = nn.functional.elu(self.front(flow))
        for wide, thin in zip(self.wide, self.thin, strict=True):
            flow = flow + thin(self.drop(nn.functional.elu(wide(flow))))
        return self.head(nn.functional.elu(flow))


def clip(track: dict[str, Array], rng: np.random.Generator) -> tuple[Array, Array]:
    """Features and targets of a stretch of a track, at another speed, with other colours and noise."""
    levels = track["levels"]
    speed = float(np.exp(rng.normal() * 0.09))
    wanted = CLIP * FRAMES
    length = int(wanted * speed) + 2
    first = int(rng.integers(0, max(1, len(levels) - length + 1)))
    part = levels[first : first + length].astype(np.float32)
    places = np.arange(wanted) * speed
    places = places[places < len(part) - 1]
    low = places.astype(int)
    share = (places - low)[:, None].astype(np.float32)
    part = part[low] * (1 - share) + part[low + 1] * share
    shift = int(rng.integers(-1, 2))
    part = np.roll(part, shift, axis=1)
    tilt = np.interp(np.arange(BANDS), np.linspace(0, BANDS - 1, 5), rng.normal(size=5) * 0.7)
    part = part * np.exp(tilt).astype(np.float32)
    if rng.random() < 0.3:  # a room that rings on
        part = scipy.signal.lfilter([1.0], [1.0, -float(rng.uniform(0.3, 0.93))], part, axis=0).astype(np.float32)
    if rng.random() < 0.3:  # loud parts held down
        power = part.mean(axis=1, keepdims=True)
        part = part * (power + 0.05 * power.mean()) ** -float(rng.uniform(0.1, 0.5))
    if rng.random() < 0.15:
        part[:, int(rng.integers(25, BANDS)) :] *= 0.01
    if rng.random() < 0.1:
        part[:, : int(rng.integers(1, 8))] *= 0.05
    part = part + np.abs(rng.normal(size=part.shape)).astype(np.float32) * part.mean() * float(
        rng.choice([0, 0, 0.02, 0.1])
    )
    shown = features(part)
    targets = np.zeros((2, CLIP * RATE), np.float32)
    for row, name in enumerate(("beats", "downs")):
        at = (track[name] - first / FRAMES) / speed * RATE - 0.25  # a frame of 20 ms is heard 5 ms after it begins
        for beat in at[(at > -1) & (at < len(shown))]:
            near = np.arange(int(np.floor(beat)) - 1, int(np.floor(beat)) + 3)
            near = near[(near >= 0) & (near < targets.shape[1])]
            targets[row, near] = np.maximum(targets[row, near], np.clip(1.25 - np.abs(near - beat) * 0.75, 0, 1))
    shown = np.pad(shown[: CLIP * RATE], ((0, max(0, CLIP * RATE - len(shown))), (0, 0)))
    return shown.T, targets


def read(folder: Path) -> list[dict[str, Array]]:
    """Every track that is not held out. Our own weigh 1, music by others 2: there is less of it."""
    names = folder / "held_out.txt"
    held_out = tuple(names.read_text().splitlines()) if names.exists() else ()
    tracks = []
    for path in sorted(folder.rglob("*.json")):
        if not path.stem.startswith(held_out):
            truth = json.loads(path.read_text())
            track = {"levels": heard(path), "weight": np.array(1.0 if path.parent.name in ("made", "bands") else 2.0)}
            tracks.append(
                track | {name: np.array(truth[key]) for name, key in (("beats", "beats"), ("downs", "downbeats"))}
            )
    return tracks


def heard(path: Path) -> Array:
    """Levels of the recording beside a truth, kept for the next time."""
    kept = path.with_suffix(".npy")
    if not kept.exists():
        np.save(kept, listen(path.with_suffix(".flac")).levels.astype(np.float16))
    return np.asarray(np.load(kept))


def saved(network: dict[str, torch.Tensor], path: Path) -> None:
    np.savez_compressed(path, **{name: value.numpy().astype(np.float16) for name, value in network.items()})


def main(folder: Path, out: Path, minutes: float) -> None:
    torch.set_num_threads(1)
    rng, started = np.random.default_rng(1), time.monotonic()
    network = Network()
    if out.exists():
        with np.load(out) as before:
            network.load_state_dict({name: torch.from_numpy(before[name].astype(np.float32)) for name in before.files})
    tracks = read(folder)
    optimiser = torch.optim.AdamW(network.parameters(), lr=FASTEST, weight_decay=1e-3)
    average = {name: value.detach().clone() for name, value in network.state_dict().items()}
    losses: list[float] = []
    step = 0
    while (gone := time.monotonic() - started) < minutes * 60:
        for group in optimiser.param_groups:
            group["lr"] = (
                FASTEST * min(1, (step + 1) / 50) * (0.02 + 0.98 * 0.5 * (1 + np.cos(np.pi * gone / (minutes * 60))))
            )
        weights = np.array([track["weight"] for track in tracks], float)
        chosen = rng.choice(len(tracks), BATCH, p=weights / weights.sum())
        clips = [clip(tracks[one], rng) for one in chosen]
        shown, targets = (torch.from_numpy(np.stack(part)) for part in zip(*clips, strict=True))
        told = network(shown)
        loss = nn.functional.binary_cross_entropy_with_logits(
            told, targets, pos_weight=torch.tensor([2.0, 4.0])[:, None]
        )
        optimiser.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimiser.step()
        keep = min(0.995, step / (step + 10))
        for name, value in network.state_dict().items():
            average[name] = average[name] * keep + value.detach() * (1 - keep)
        losses.append(float(loss))
        step += 1
        if step % 50 == 0:
            print(
                f"{gone / 60:5.1f} min, step {step}, {len(tracks)} tracks, loss {np.mean(losses[-50:]):.4f}", flush=True
            )
            saved(average, out)
    saved(average, out)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]) if len(sys.argv) > 3 else 20)
