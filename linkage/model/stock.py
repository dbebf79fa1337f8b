"""Materials that a file may name without describing them."""

from __future__ import annotations

from .strength import ColumnCurve, Material

KSI = 6.894757293168361  # N/mm2, from the pound, inch and standard gravity by definition
LB_IN3 = 0.45359237 / 25.4**3  # kg/mm3

HANDBOOK = {
    "4130 normalized": Material(
        modulus=29.0e3 * KSI, yield_stress=75 * KSI, ultimate=95 * KSI, density=0.283 * LB_IN3,
        shear=11.0e3 * KSI,
        column=ColumnCurve(top=79.5 * KSI, drop=0.0519 * KSI, power=1.5, up_to=91.5),
        source="Bruhn, Analysis and Design of Flight Vehicle Structures, table of chapter C4 "
               "(density, and the shear modulus of handbooks, from memory), with the column curve "
               "of that table; yield falls to 60 ksi where welded and then normalized"),
    "2024-T3": Material(
        modulus=10.5e3 * KSI, yield_stress=42 * KSI, ultimate=64 * KSI, density=0.100 * LB_IN3,
        source="MIL-HDBK-5H 3.2.3, drawn tube, from memory: check before use"),
    "6061-T6": Material(
        modulus=9.9e3 * KSI, yield_stress=34 * KSI, ultimate=42 * KSI, density=0.098 * LB_IN3,
        source="MIL-HDBK-5H 3.6.2, drawn tube, from memory: check before use"),
    "steel bolt 125 ksi": Material(
        modulus=29.0e3 * KSI, yield_stress=103 * KSI, ultimate=125 * KSI, shear_ultimate=75 * KSI,
        density=0.283 * LB_IN3,
        source="aircraft bolts of 125 ksi, 75 ksi in shear (MIL-B-6812, from memory): check before "
               "use"),
}
