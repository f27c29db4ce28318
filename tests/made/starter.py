"""The starter as the command new writes it without options, for tests that read study files."""

from __future__ import annotations

import atexit
import shutil
from pathlib import Path
from tempfile import mkdtemp

from studies.starter.plate import Plate
from studies.starter.text import starter_text

STARTER = Path(mkdtemp(prefix="starter-")) / "starter.toml"
atexit.register(shutil.rmtree, STARTER.parent, ignore_errors=True)
STARTER.write_text(starter_text(Plate()), encoding="utf-8")
