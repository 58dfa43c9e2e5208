"""The memory limit of a process that runs jobs."""

import sys


def limit_memory(most: int) -> bool:
    """Limit the data of this process to ``most`` bytes (0: no limit); beyond it, allocations raise `MemoryError`.

    Return whether a limit was set. macOS cannot set one; there, Celery's limit between two tasks applies.
    """
    if most <= 0 or sys.platform != "linux":
        return False
    import resource  # noqa: PLC0415 - Unix only

    # RLIMIT_DATA counts private memory (getrlimit(2), since Linux 4.7), not the address space that libraries reserve
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    soft = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (soft, hard))
    return True
