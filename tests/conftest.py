"""What every test needs before NumPy is imported: one BLAS thread, since many small fits only wait for more."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
