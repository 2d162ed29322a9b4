"""What can go wrong, each with the exit code the command ends with."""

import errno

_FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}


def no_room(error: OSError) -> bool:
    """Whether the disk, or our part of it, is full."""
    return error.errno in _FULL


class MeltwickError(Exception):
    """Base of every error the program raises on purpose; its text is one clear line."""

    exit_code = 1


class PlanError(MeltwickError):
    """The plan says something that cannot be done or read."""

    exit_code = 2


class StockError(MeltwickError):
    """A blank, fabric, pole, tie or dye that is not in stock, or a bad stock file."""

    exit_code = 2


class FileError(MeltwickError):
    """A file or folder that is missing, unreadable or in the way."""

    exit_code = 2


class WishError(MeltwickError):
    """A wish that no setting meets."""

    exit_code = 3


class ResourceError(MeltwickError):
    """Not enough memory or disk, or a cluster that cannot make the runs."""

    exit_code = 4


class ProfileError(MeltwickError):
    """A profile that is not there or cannot be read or used, or too few pieces to learn one."""

    exit_code = 2
