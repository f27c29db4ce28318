"""Before any test: Python's bytecode is kept, as the compiled solvers are, in `__pycache__`.

Where the environment forbids that, each process that a test starts compiles every module anew, and
each run of the tests rewrites all of their asserts."""

import os
import sys

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
