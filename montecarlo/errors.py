"""What a person can put right: one line a fault, with the key's path, the value, the limit and the
cure."""

import errno

MOST_FAULTS = 50  # that are told at once


class StudyError(Exception):
    """One or more faults in what the user gave. The command line prints them and ends with exit
    code 2."""

    def __init__(self, *faults: str) -> None:
        if len(faults) > MOST_FAULTS:
            faults = (*faults[: MOST_FAULTS - 1], "and more; mend these first")
        super().__init__("\n".join(faults))
        self.faults = faults

    def __reduce__(self) -> tuple[type["StudyError"], tuple[str, ...]]:
        return type(self), self.faults


class RunStopped(StudyError):
    """What stopped a run lies outside the study: workers, the disk, another run. Its finished
    chunks stay as they are, and the same command goes on from there."""


def reason(error: OSError) -> str:
    """Why the system refuses, in its words.

    Parameters
    ----------
    error : OSError

    Returns
    -------
    str
    """
    return error.strerror or type(error).__name__


def no_room(error: BaseException) -> str:
    """Why the system allows no more processes or threads, if it is that.

    Parameters
    ----------
    error : BaseException

    Returns
    -------
    str
        The system's or Python's own words; empty for any other error.
    """
    if isinstance(error, OSError) and error.errno in (errno.EAGAIN, errno.ENOMEM):
        return reason(error)
    no_thread = "can't start new thread"  # Python has no class of its own for it
    return no_thread if isinstance(error, RuntimeError) and no_thread in str(error) else ""


def no_memory(error: BaseException) -> bool:
    """Whether memory has run out, also where a library was to be loaded.

    Parameters
    ----------
    error : exception
        The system's loader has no class of its own for it, only words.

    Returns
    -------
    bool
    """
    words = "failed to map segment"
    return isinstance(error, MemoryError) or (
        isinstance(error, ImportError) and words in str(error)
    )
