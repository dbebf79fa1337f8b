"""The verbs by name."""

VERBS = {  # verb, a file of the same name: (words it takes, what it does)
    "new": ("LAYOUT --out FILE", "a commented starter file"),
    "schema": ("--out FILE", "for editors"),
    "relief": ("FILE PLATE --out DIR", "cuts a plate free of what moves past it"),
    "template": ("FILE PLATE --out DIR", "a plate at full size for the shop"),
    "loads": ("FILE", "what each part carries, and its margins"),
    "size": ("FILE", "chooses arms, clockings, places and rod lengths to meet the targets"),
    "rig": ("FILE", "rods to make and turn, rod ends, rig pins, the aircraft as built"),
    "open": ("FILE", "the live workbook, in JupyterLab"),
    "view": ("FILE --out PAGE", "the live view as one HTML file that works from disk"),
}
