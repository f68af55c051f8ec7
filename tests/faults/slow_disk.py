"""A disk that takes its time, made for real: a shim before the C library's own calls that wait for the disk.

    with_slow_disk = slow_disk(folder, each_s=0.2, once_s=4.0, at=10)      # environment for a program to be started

Every call waits ``each_s``, as a memory card or a network folder may; the one numbered ``at`` hangs for ``once_s``. The
program and SQLite inside it both meet it. Linux only.
"""

import subprocess
from pathlib import Path

from tests.report.page_words import need

SHIM = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <time.h>

static atomic_int calls;

static void pause_for(const char *name) {
    double seconds = atof(getenv(name));
    struct timespec left = {(time_t)seconds, (long)((seconds - (time_t)seconds) * 1e9)};
    while (nanosleep(&left, &left)) {}
}

static void slowly(void) {
    pause_for(++calls == atoi(getenv("SLOW_DISK_AT")) ? "SLOW_DISK_ONCE_S" : "SLOW_DISK_EACH_S");
}

int fsync(int file) { slowly(); return ((int (*)(int))dlsym(RTLD_NEXT, "fsync"))(file); }
int fdatasync(int file) { slowly(); return ((int (*)(int))dlsym(RTLD_NEXT, "fdatasync"))(file); }
"""


def slow_disk(folder: Path, *, each_s: float, once_s: float = 0.0, at: int = 0) -> dict[str, str]:
    """Variables under which a program meets such a disk. Skips the test where there is no C compiler."""
    shim = folder / "slow_disk.so"
    line = [need("cc", "gcc libc6-dev"), "-x", "c", "-shared", "-fPIC", "-o", str(shim), "-", "-ldl"]
    subprocess.run(line, input=SHIM, text=True, check=True)
    return {
        "LD_PRELOAD": str(shim),
        "SLOW_DISK_EACH_S": str(each_s),
        "SLOW_DISK_ONCE_S": str(once_s),
        "SLOW_DISK_AT": str(at),
    }
