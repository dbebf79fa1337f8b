"""An independent checker of clearance proofs: nothing here imports `linkage`."""

from .verdict import Verdict, check

__all__ = ["Verdict", "check"]
