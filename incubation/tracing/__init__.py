"""Tracing: what may lie behind the eggs that did not hatch, with the evidence for and against.

Candidates are ranked and never asserted. "Not enough eggs to tell" is a frequent and proper answer.
"""

from __future__ import annotations

from incubation.tracing.evidence import Candidate, Evidence, Verdict
from incubation.tracing.weigh import Tracing, trace_causes

__all__ = ["Candidate", "Evidence", "Tracing", "Verdict", "trace_causes"]
