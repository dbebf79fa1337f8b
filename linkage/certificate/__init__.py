"""What the clearance proof rests on, written down so that anyone can check it."""

from .written import certificate, write_certificate

__all__ = ["certificate", "write_certificate"]
