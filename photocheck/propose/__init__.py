"""Marks proposed: where a photo seems to show the dog's landmarks, for a person to confirm.

Imports photos, points and words only.  Nothing that measures imports it: a proposal is no mark.
"""

from photocheck.propose.proposal import NOTHING, Proposal, ProposedMark
from photocheck.propose.proposing import propose

__all__ = ["NOTHING", "Proposal", "ProposedMark", "propose"]
