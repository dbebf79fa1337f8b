"""What to cut away: outlines that a plate has to keep clear, proven, and templates to cut by."""

from .cut import said_area, said_width, with_shape
from .drawing import draw
from .flat import flat_of, plates_named
from .marks import Mark, mark_on, outline_after
from .reliefs import Options, Relief, mesh_name, relieve, short_in_a_build
from .shop_files import (
    both_sides,
    cut_drawings,
    cut_name,
    identity,
    page_count,
    relief_templates,
    relieved_file,
    relieved_names,
    template_names,
    templates,
    twin_of,
    write_all,
)

__all__ = ["Mark", "Options", "Relief", "both_sides", "cut_drawings", "cut_name", "draw",
           "flat_of", "identity", "mark_on", "mesh_name", "outline_after", "page_count",
           "plates_named", "relief_templates", "relieve", "relieved_file", "relieved_names",
           "said_area", "said_width", "short_in_a_build", "template_names", "templates", "twin_of",
           "with_shape", "write_all"]
