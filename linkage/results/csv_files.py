"""Tables as CSV files, each named after its table."""

from __future__ import annotations

from ..disk import csv_text, file_stems

# How the file of every table begins, so that one that is there is seen before the work.
STEMS = ("adjustment", "as_built", "builds_by_chance", "chafing", "clearance", "closest_points",
         "contributors", "cross-talk", "differential", "directions", "free_play", "friction",
         "gearing", "grips", "hands", "hardpoints", "inputs", "left_and_right", "left_out",
         "load_cases", "lost_motion", "missed", "most_moved", "motion", "moving_parts",
         "over-centre", "plates", "readings.", "relief_of", "required_travels", "rig_pins",
         "rigging", "rod", "signatures", "spacers", "sticks", "stick_force", "stops", "surfaces_at",
         "tolerance_bands", "torque_tubes", "travels", "what_a_turn", "wires", "worst")


def csv_files(tables: dict) -> dict:
    r"""Contents of CSV files, numbers in full.

    Parameters
    ----------
    tables : dict
        ``{name: DataFrame}``.

    Returns
    -------
    dict
        ``{file name: text}``; names that would come to the same file get a number.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"rod": ["tie"]})
    >>> csv_files({"Rods to make": rows, "rods/to make": rows})
    {'rods_to_make.csv': 'rod\ntie\n', 'rods_to_make_2.csv': 'rod\ntie\n'}
    """
    stems = file_stems(tables, "_")
    return {f"{stems[name].lower()}.csv": csv_text(data) for name, data in tables.items()}


def is_table(name: str) -> bool:
    """Whether a file may be one of these tables, by its name.

    Examples
    --------
    >>> is_table("gearing_over_pitch.csv"), is_table("my readings.csv")
    (True, False)
    """
    return name.endswith(".csv") and name.startswith(STEMS)
