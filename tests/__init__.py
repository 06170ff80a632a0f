"""The tests; each process of theirs works with one thread.

They run beside each other, a process for each core, where threads of numerical libraries only
wait for one another.  The libraries read this when they are loaded, so it stands here, before
anything of them is imported.
"""

import os
import sys

for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(_variable, "1")

# Hundreds of processes import the same modules here: compiled once is enough.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
