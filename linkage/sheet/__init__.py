"""What is printed: the sheet of all results, plates cut, dimensions chosen."""

from .opening import heading, sheet_of

_LATER = {"relief_sheet": "cut_plates", "template_sheet": "cut_plates",
          "size_sheet": "chosen_sizes"}
__all__ = ["heading", "relief_sheet", "sheet_of", "size_sheet", "template_sheet"]


def __getattr__(name):
    """Sheets of what is made, loaded with what makes it when one is asked for."""
    if name in _LATER:
        from importlib import import_module

        return getattr(import_module(f".{_LATER[name]}", __name__), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
