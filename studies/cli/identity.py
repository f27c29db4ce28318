"""What makes two runs the same run, so that chunks of one may serve the other."""

from __future__ import annotations

from montecarlo.engine.workers.software import software
from montecarlo.study.description import Study
from montecarlo.study.read import digest

__all__ = ["identity"]


def identity(study: Study, *, keep_samples: bool) -> dict[str, str]:
    """The study as its digest, whether samples are kept, and the software that computes."""
    return {
        "study": digest(study),
        "--keep-samples": "given" if keep_samples else "not given",
        **dict(software()),
    }
