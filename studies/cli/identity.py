"""What makes two runs the same run, so that chunks of one may serve the other."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from montecarlo.engine.workers.software import software
from montecarlo.study.description import Study
from montecarlo.study.read import digest
from studies.cli.listing import RUN, UNFINISHED
from studies.report.record import read_record

Identity = Mapping[str, str]  # what must not change within one run: name and value


def identity(study: Study, *, keep_samples: bool) -> dict[str, str]:
    """The study as its digest, whether samples are kept, and the software that computes. Not the
    processor: last bits alone hang on it, which no table shows.

    Parameters
    ----------
    study : Study
    keep_samples : bool

    Returns
    -------
    dict
    """
    return {
        "study": digest(study),
        "--keep-samples": "given" if keep_samples else "not given",
        **dict(software()),
    }


def identity_in(record: Path) -> dict[str, str] | None:
    """That of an unfinished run.

    Parameters
    ----------
    record : Path

    Returns
    -------
    dict or None
        Empty where the record cannot be read; None where there is none.
    """
    if not os.path.lexists(record):
        return None
    identity = read_record(record).get("identity")
    return (
        {str(key): str(value) for key, value in identity.items()}
        if isinstance(identity, dict)
        else {}
    )


def told_other(before: Identity, identity: Identity) -> str:
    """In what an unfinished run differs, and what may be done with it first.

    Parameters
    ----------
    before, identity : mapping
        Of the unfinished run, empty where it is not known, and of this one.

    Returns
    -------
    str
        Goes on with a comma or a semicolon.
    """
    if not before:
        return f"of which {UNFINISHED}/{RUN} cannot be read;"
    differ = [name for name in identity if before.get(name) != identity[name]]
    if "study" in differ:
        return (
            "of another study (its file, --samples, --seed or --quick is not the same); go on with"
            " that one,"
        )
    return (
        "with "
        + ", ".join(
            f"{name} {before.get(name, 'unknown')} where it is {identity[name]} now"
            for name in differ
        )
        + "; go on with that one,"
    )
