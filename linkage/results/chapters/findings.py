"""Directions and other findings: what to know before trusting the numbers."""

from __future__ import annotations

from ..blocks import Heading, Text


def blocks(results):
    """Blocks on what was found of how the system moves."""
    yield Heading("Directions and findings")
    if not results.findings:
        yield Text("No findings.")
    for finding in sorted(results.findings, key=lambda finding: not finding.miss):
        yield Text(finding.text, "miss" if finding.miss else "note")
