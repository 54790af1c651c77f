"""Tracing: what may lie behind the eggs that did not hatch, with the evidence for and against.

Candidates are ranked and never asserted. "Not enough eggs to tell" is a frequent and proper answer.

How often a planted cause stands out, in 100 invented hatches each, on seeds nothing was chosen on
(``python -m bench.tracing_power --hatches 100 --seed 880003``; what is planted, and how strongly:
:mod:`sample_images.simulated_hatch`):

==============================================  =======  ========  ========
planted                                         48 eggs  120 eggs  300 eggs
==============================================  =======  ========  ========
a sire who fertilises a third of what others do      51        91       100
a pen that loses 35 % more of its embryos             5        36        75
storage, 6 % more lost for each day after day 5      19        45        75
shipping, 40 % more lost                             16        45        90
one of two machines, 40 % more lost                  22        70        98
a shelf, 40 % more lost                              31        62        93
the edge or a side of the tray, 40 % more lost       10        37        86
a hot spell that kills 35 %                          51        68        80
a cold spell that kills 35 %                         38        74        75
too humid                                            60        87        96
too dry                                              69        97       100
==============================================  =======  ========  ========

Storage at its published strength (1 % a day) stood out in 4 and 6 of 100 hatches of 120 and 300 eggs, hardly
more often than by chance: one hatch cannot show it. Without any cause something stood out in 7, 7, 11 and 10
of 500, 500, 500 and 400 hatches of 24, 48, 120 and 300 eggs (seed 880001); where hens differ in fertility and
in deaths, in 12 of 500 and 25 of 500 hatches of 48 and 120 eggs (seed 880002, ``--hens-differ``).
"""

from __future__ import annotations

from incubation.tracing.evidence import Candidate, Evidence, Verdict
from incubation.tracing.weigh import Tracing, trace_causes

__all__ = ["Candidate", "Evidence", "Tracing", "Verdict", "trace_causes"]
