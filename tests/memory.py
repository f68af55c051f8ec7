"""How much memory a process took at most, asked of the system."""

import sys


def peak_kib() -> int:
    """The most that this process ever had; what was taken once counts to its end."""
    if sys.platform == "win32":
        import psutil

        return psutil.Process().memory_info().peak_wset // 1024
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // (1024 if sys.platform == "darwin" else 1)
