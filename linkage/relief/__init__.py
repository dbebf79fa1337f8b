"""What to cut away: outlines that a plate has to keep clear, proven, and templates to cut by."""

from .cut import said_area, said_width, with_shape
from .drawing import draw
from .flat import flat_of, plates_named
from .reliefs import Options, Relief, relieve
from .shop_files import (
    both_sides,
    check_folder,
    file_stem,
    page_count,
    relief_templates,
    relieved_file,
    templates,
    twin_of,
    write_all,
)

__all__ = ["Options", "Relief", "both_sides", "check_folder", "draw", "file_stem", "flat_of",
           "page_count", "plates_named", "relief_templates", "relieve", "relieved_file",
           "said_area", "said_width", "templates", "twin_of", "with_shape", "write_all"]
