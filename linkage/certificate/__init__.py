"""What the clearance proof rests on, written down so that anyone can check it."""

from .written import certificate, checked, packed

__all__ = ["certificate", "checked", "packed"]
