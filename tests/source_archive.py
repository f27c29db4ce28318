"""The source archive with all that its own tests need: setuptools by itself takes tests/test*.py
only."""

from __future__ import annotations

from pathlib import Path

from setuptools.command.sdist import sdist

FOLDERS = ("tests", "configs", ".ci")
FILES = ("DEVELOPERS.md", ".gitignore")
LEFT_OUT = {"__pycache__", ".pytest_cache", ".hypothesis"}


class SourceArchive(sdist):
    """Named in pyproject.toml, [tool.setuptools.cmdclass]."""

    def make_distribution(self) -> None:
        found = [
            path
            for folder in FOLDERS
            for path in sorted(Path(folder).rglob("*"))
            if path.is_file() and not LEFT_OUT & {*path.parts}
        ]
        known = {*self.filelist.files}
        self.filelist.extend(
            [
                str(path)
                for path in [*found, *map(Path, FILES)]
                if path.is_file() and str(path) not in known
            ]
        )
        super().make_distribution()
