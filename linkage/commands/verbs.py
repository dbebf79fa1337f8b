"""The verbs by name."""

VERBS = {  # verb, a file of the same name, its hyphen a _: (words it takes, what it does)
    "new": ("LAYOUT --out FILE", "writes a commented starter file"),
    "schema": ("--out FILE", "writes the JSON Schema of model files, for editors"),
    "relief": ("FILE PLATE --out DIR", "cuts a plate free of what moves past it"),
    "template": ("FILE PLATE --out DIR", "writes a plate at full size for the shop"),
    "meshes": ("FILE --out DIR", "writes the parts as solids: GLB that moves, STL each"),
    "loads": ("FILE", "says what each part carries, and its margins"),
    "size": ("FILE", "chooses dimensions that meet the file's targets"),
    "rig": ("FILE", "says what to make and turn, and what was built"),
    "check-proof": ("FILE PROOF", "holds a proof against its file by a small checker"),
    "open": ("FILE", "opens the live workbook in JupyterLab"),
    "view": ("FILE --out PAGE", "writes the live view as one HTML file"),
}
