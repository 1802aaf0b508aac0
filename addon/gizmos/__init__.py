"""What can be clicked and pulled in the viewport itself."""

from .findings import HINGELEAF_GGT_findings
from .handles import HINGELEAF_GGT_handles, HINGELEAF_GT_handle

__all__ = ["CLASSES"]

CLASSES = (HINGELEAF_GT_handle, HINGELEAF_GGT_handles, HINGELEAF_GGT_findings)
