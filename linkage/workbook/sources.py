"""The page's program and style sheet, as they are handed to a browser."""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent
PARTS = ("words", "pose", "gaps", "drawing", "charts", "panels", "parts", "solid_mesh",
         "solid_view", "view")


def script() -> str:
    """The page's program: one plain module."""
    return "\n".join((HERE / "js" / f"{part}.js").read_text(encoding="utf-8") for part in PARTS)


def style() -> str:
    """The page's style sheet."""
    return (HERE / "view.css").read_text(encoding="utf-8")
