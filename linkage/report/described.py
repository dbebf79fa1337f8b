"""Tables of what the file describes, in its own length unit."""

from __future__ import annotations

from ..model import AIRFRAME, STATIONS
from ..motion import System
from ..units import MM_PER


def hardpoints(system: System):
    """Every hardpoint at neutral: DataFrame of part, point and stations."""
    import pandas as pd

    unit = system.model.length
    rows = []
    for name in system.model.points:
        part, point = name.split("/", 1)
        place = (k / MM_PER[unit] for k in system.model.position(name))
        rows.append({"part": part, "point": point,
                     **{f"{axis} {unit}": k for axis, k in zip(STATIONS, place, strict=True)}})
    return pd.DataFrame(rows, columns=["part", "point", *(f"{s} {unit}" for s in STATIONS)])


def sticks(system: System) -> list[str]:
    """Parts that a hand holds, what carries them, and the rods on them."""
    bodies = system.model.bodies
    held = [name for name, part in bodies.items() if "grip" in part.points]
    near = dict.fromkeys([*held, *(bodies[name].on for name in held if bodies[name].on in bodies)])
    rods = [name for name, rod in system.model.rods.items()
            if {end.split("/")[0] for end in rod.ends} & set(near)]
    return [*near, *rods] if held else []


def inputs(system: System):
    """Every input with its wanted travel and what it drives."""
    import pandas as pd

    rows = [{"input": name, "drives": control.body or "nothing", "grip": control.grip or "–",
             "from": control.travel[0], "to": control.travel[1], "in": control.unit}
            for name, control in system.inputs.items()]
    return pd.DataFrame(rows, columns=["input", "drives", "grip", "from", "to", "in"])


def bodies(system: System):
    """Every moving body: what carries it, and how it moves."""
    import pandas as pd

    rows = [{"part": name, "carried by": "" if part.on == AIRFRAME else part.on,
             "moves": "slides" if part.slides else "turns",
             **{f"axis {axis}": k for axis, k in zip("xyz", part.direction, strict=True)},
             "solids": ", ".join(part.solids) or "none"}
            for name, part in system.model.bodies.items()]
    for row in rows:
        row["carried by"] = row["carried by"] or AIRFRAME
    return pd.DataFrame(rows, columns=["part", "carried by", "moves", "axis x", "axis y", "axis z",
                                       "solids"])


def rods(system: System):
    """Every rod with its ends and its length centre to centre."""
    import pandas as pd

    unit = system.model.length
    rows = [{"rod": name, "from": rod.ends[0], "to": rod.ends[1],
             f"length {unit}": system.model.rod_length(name) / MM_PER[unit],
             "length is": "given" if rod.length is not None else "from its points"}
            for name, rod in system.model.rods.items()]
    return pd.DataFrame(rows, columns=["rod", "from", "to", f"length {unit}", "length is"])


def spacers(system: System):
    """What to make for the stops: each spacer, where it sits and what it is stacked of."""
    import pandas as pd

    from ..stops import stock_about

    unit, rows = system.model.length, []
    for name, stop in system.model.stops.items():
        if stop.spacer is None:
            continue
        stack = ""
        if stop.spacer.stock:
            below, above = stock_about(stop.spacer.stock, stop.spacer.thickness)
            for pile in (below, above):
                if pile and abs(sum(pile) - stop.spacer.thickness) < 1e-6:
                    stack = " + ".join(f"{k / MM_PER[unit]:.4g}" for k in pile)
        rows.append({"stop": name, "sits on": stop.spacer.on,
                     f"thickness {unit}": stop.spacer.thickness / MM_PER[unit],
                     f"stacked of ({unit})": stack or "to be made so thick"})
    return pd.DataFrame(rows, columns=["stop", "sits on", f"thickness {unit}",
                                       f"stacked of ({unit})"])
