"""Photos that strangers send, made safe to keep and to show; imports photo and the ground.

`take_upload` decodes a file in a process of its own and keeps only what it writes anew.
"""

from photocheck.uploads.gate import BusyError
from photocheck.uploads.quota import QUOTA, Quota, take_for_order
from photocheck.uploads.take import LIMITS, Limits, Upload, take_upload

__all__ = [
    "LIMITS",
    "QUOTA",
    "BusyError",
    "Limits",
    "Quota",
    "Upload",
    "take_for_order",
    "take_upload",
]
