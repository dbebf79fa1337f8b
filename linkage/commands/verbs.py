"""The verbs by name."""

VERBS = {  # verb: (module, words it takes, what it does)
    "new": ("new", "LAYOUT --out FILE", "a commented starter file"),
    "schema": ("schema", "--out FILE", "for editors"),
    "relief": ("relief", "FILE PLATE --out DIR", "cuts a plate free of what moves past it"),
    "template": ("template", "FILE PLATE --out DIR", "a plate at full size for the shop"),
}
