"""The command line asks for one thread before any library is loaded that would take all."""

import os
import subprocess
import sys


def test_small_fits_run_in_one_thread_and_numpy_is_not_loaded_before_that_is_said() -> None:
    said = "import atexit, os, sys, vision.cli; early = 'numpy' in sys.modules; "
    said += "atexit.register(lambda: print(early, os.environ['OPENBLAS_NUM_THREADS'])); vision.cli.main(['--version'])"
    clean = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
    done = subprocess.run([sys.executable, "-c", said], env=clean, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "False 1"
