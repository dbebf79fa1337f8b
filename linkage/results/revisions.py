"""Two revisions of a system: what changed in the file, and what that did to the answers."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from .blocks import with_units

if TYPE_CHECKING:
    import pandas as pd

    from ..model import Model

SAME = 1e-9  # of a number, below which it did not change
MARGIN = 5e-4  # below which a margin did not change


def file_changes(before: Model, after: Model) -> pd.DataFrame:
    """Keys of the file that differ: key, before and after, as the file writes them.

    Parameters
    ----------
    before, after : Model
        Twins across BL 0 are written out, so that a change of one side shows on both.

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    from ..model.file import format_model

    old, new = (dict(_flat(tomllib.loads(format_model(model)))) for model in (before, after))
    rows = [{"key": key, "before": _words(old.get(key)), "after": _words(new.get(key))}
            for key in dict.fromkeys([*old, *new]) if not _alike(old.get(key), new.get(key))]
    return pd.DataFrame(rows, columns=["key", "before", "after"])


def _flat(table: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of a file by its dotted key; lists of tables by their number."""
    if isinstance(table, dict):
        for key, value in table.items():
            yield from _flat(value, f"{name}.{key}" if name else key)
    elif isinstance(table, list) and table and all(isinstance(each, dict) for each in table):
        for number, value in enumerate(table, 1):
            yield from _flat(value, f"{name} {number}")
    else:
        yield name, table


def _alike(old, new) -> bool:
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        return all(_alike(a, b) for a, b in zip(old, new, strict=True))
    if isinstance(old, int | float) and isinstance(new, int | float):
        return abs(old - new) <= SAME * max(1.0, abs(old))
    return old == new


def _words(value) -> str:
    if value is None:
        return "–"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, list):
        return f"[{', '.join(map(_words, value))}]"
    return str(value)


def direction_changes(before: Any, after: Any) -> pd.DataFrame:
    """Surfaces that go another way, or of which another way is judged."""
    import pandas as pd

    old, new = ({(each.end or each.input, each.surface): f"{each.goes} ({each.outcome})"
                 for each in results.directions or ()} for results in (before, after))
    rows = [{"hand or foot": end, "surface": surface, "before": old.get((end, surface), "–"),
             "after": new.get((end, surface), "–")}
            for end, surface in dict.fromkeys([*old, *new])
            if old.get((end, surface)) != new.get((end, surface))]
    return pd.DataFrame(rows, columns=["hand or foot", "surface", "before", "after"])


def load_changes(before: Any, after: Any) -> pd.DataFrame:
    """Least margins that changed: part, check, before and after."""
    import pandas as pd

    from .strength import weakest

    old, new = ({(row["part"], row["check"]): row["margin"] for row in _rows(weakest, results)}
                for results in (before, after))
    rows = [{"part": part, "check": check, "before margin": old.get((part, check), np.nan),
             "after margin": new.get((part, check), np.nan)}
            for part, check in dict.fromkeys([*old, *new])
            if not abs(old.get((part, check), np.nan) - new.get((part, check), np.nan)) < MARGIN]
    return with_units(pd.DataFrame(rows, columns=["part", "check", "before margin",
                                                  "after margin"]))


def _rows(weakest, results):
    return weakest(results) if results.worst_loads is not None else []


def miss_changes(before: Any, after: Any) -> tuple[list, list, list]:
    """Misses that are gone, that stay, and that are new, by what they are of."""
    old, new = ({(miss.kind, miss.what): miss for miss in results.verdict.missed}
                for results in (before, after))
    return ([old[key] for key in old if key not in new], [new[key] for key in new if key in old],
            [new[key] for key in new if key not in old])


def log_entry(results: Any, when: str) -> str:
    """Lines of a log of revisions for what was worked out of a file."""
    model, before = results.system.model, results.before
    lines = [f"{when}  {results.source}  digest {results.digest}",
             f"  revision: {model.revision or '–'}; approved by: {model.approved_by or '–'}",
             f"  {results.verdict.sentence}"]
    if before is not None:
        changes = file_changes(before.system.model, model)
        lines.append(f"  against {before.source}, digest {before.digest}: "
                     f"{len(changes)} keys differ")
        lines += [f"    {row['key']}: {row['before']} -> {row['after']}"
                  for row in changes.to_dict("records")]
    return "\n".join(lines) + "\n"
