"""How often the tracing finds a planted cause, and raises an alarm where there is none.

    python -m bench.tracing_power [--hatches N] [--eggs 48 120 300] [--cause CAUSE ...] [--seed S]

draws hatches anew (:mod:`sample_images.simulated_hatch`) and prints shares of them. Give another seed than
the one anything was chosen on.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

from incubation.hatch_egg import HatchEgg, LogPoint
from incubation.species import SPECIES
from incubation.tracing import Candidate, trace_causes
from sample_images.simulated_hatch import CAUSES, SimulatedHatch, draw_hatch
from sample_images.simulated_hatch_book import Cause

# Under which candidates a planted cause may rightly be named; a shelf may be all of a machine.
NAMED_AS: dict[str, tuple[str, ...]] = {
    "sire": ("sire's clears",),
    "line": ("line's deaths",),
    "place": ("place on the tray",),
    "shelf": ("shelf", "tray", "machine"),
    "machine": ("machine", "shelf", "tray"),
}


@dataclass(frozen=True)
class Tally:
    """Shares of the hatches: the planted cause stood out; stood first; anything at all stood out."""

    named: float
    first: float
    anything: float


def tally(cause: Cause, *, eggs: int, hatches: int, seed: int, strength: float, hens_differ: bool) -> Tally:
    """Draw and trace so many hatches of one kind."""
    named = first = anything = 0
    for rng in np.random.default_rng([seed, eggs, CAUSES.index(cause)]).spawn(hatches):
        hatch = draw_hatch(rng, eggs=eggs, cause=cause, strength=strength, hens_differ=hens_differ)
        standing = [c for c in traced(hatch, rng) if c.verdict == "stands out"]
        right = [c.cause in NAMED_AS.get(cause, (cause,)) for c in standing]
        named += any(right)
        first += bool(right) and right[0]
        anything += bool(standing)
    return Tally(named / hatches, first / hatches, anything / hatches)


def traced(hatch: SimulatedHatch, rng: np.random.Generator) -> tuple[Candidate, ...]:
    """The candidates of one simulated hatch."""
    eggs = [HatchEgg(**asdict(egg)) for egg in hatch.eggs]
    log = [LogPoint(**asdict(line)) for line in hatch.log]
    return trace_causes(eggs, log, species=SPECIES["chicken"], rng=rng, deals=999).candidates


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m bench.tracing_power", description=__doc__)
    parser.add_argument("--hatches", type=int, default=100)
    parser.add_argument("--eggs", type=int, nargs="+", default=[48, 120, 300])
    parser.add_argument("--cause", nargs="+", default=list(CAUSES), choices=CAUSES)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--strength", type=float, default=1.0)
    parser.add_argument("--hens-differ", action="store_true")
    chosen = parser.parse_args(arguments)
    print("planted      eggs  hatches  named  first  anything")
    for cause in chosen.cause:
        for eggs in chosen.eggs:
            found = tally(
                cause,
                eggs=eggs,
                hatches=chosen.hatches,
                seed=chosen.seed,
                strength=chosen.strength,
                hens_differ=chosen.hens_differ,
            )
            print(
                f"{cause:11s}  {eggs:4d}  {chosen.hatches:7d}  {found.named:5.2f}  {found.first:5.2f}  "
                f"{found.anything:8.3f}",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
