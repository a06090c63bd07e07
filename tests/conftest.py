"""One thread for linear algebra: the matrices here are small, and threads would wait for each other."""

import os

for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(variable, "1")

collect_ignore = ["unused_allowed.py"]  # a list for vulture, which no interpreter reads
